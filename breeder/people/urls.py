"""Addresses of the room's pages."""

from django.urls import path

from breeder.people import views

app_name = "people"
urlpatterns = [
    path("people/", views.people_list, name="list"),
    path("people/new/", views.new, name="new"),
    path("people/<int:pk>/", views.person, name="person"),
    path("people/<int:pk>/edit/", views.edit, name="edit"),
    path("people/<int:pk>/remove/", views.remove, name="remove"),
    path("people/<int:pk>/address/", views.address_new, name="address_new"),
    path("people/<int:pk>/address/<int:address_pk>/", views.address_edit, name="address_edit"),
]
