"""Addresses of the room's pages."""

from django.urls import URLPattern

app_name = "forsale"
urlpatterns: list[URLPattern] = []
