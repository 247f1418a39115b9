"""Addresses of the room's pages."""

from django.urls import path

from breeder.species import views

app_name = "species"
urlpatterns = [
    path("species/", views.species_list, name="species_list"),
    path("species/new/", views.species_new, name="species_new"),
    path("species/<int:pk>/", views.species, name="species"),
    path("species/<int:pk>/edit/", views.species_edit, name="species_edit"),
    path("lines/new/", views.line_new, name="line_new"),
    path("lines/<int:pk>/edit/", views.line_edit, name="line_edit"),
]
