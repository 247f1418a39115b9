"""Addresses of the room's pages."""

from django.urls import URLPattern

app_name = "today"
urlpatterns: list[URLPattern] = []
