"""Addresses of the room's pages."""

from django.urls import path

from breeder.dashboard import views

app_name = "dashboard"
urlpatterns = [path("", views.page, name="page")]
