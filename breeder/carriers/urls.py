"""Addresses of the room's pages."""

from django.urls import path

from breeder.carriers import views

app_name = "carriers"
urlpatterns = [
    path("services/", views.services, name="services"),
    path("services/new/", views.service, name="service_new"),
    path("services/<int:pk>/", views.service, name="service"),
    path("closures/", views.closures, name="closures"),
    path("closures/<int:pk>/remove/", views.remove_closure, name="remove_closure"),
]
