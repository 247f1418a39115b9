"""Addresses of the room's pages."""

from django.urls import path

from breeder.today import views

app_name = "today"
urlpatterns = [path("", views.page, name="page")]
