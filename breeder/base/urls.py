"""Addresses of the room's pages."""

from django.urls import path

from breeder.base import views

app_name = "base"
urlpatterns = [
    path("book/", views.book, name="book"),
    path("book/settings/", views.settings, name="settings"),
    path("book/log/", views.log, name="log"),
    path("photos/<int:pk>/", views.photo, name="photo"),
]
