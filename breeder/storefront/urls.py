"""Addresses of the room's pages."""

from django.urls import path

from breeder.storefront import views

app_name = "storefront"
urlpatterns = [
    path("for-sale/", views.page, name="page"),
    path("for-sale/for-sale.csv", views.csv, name="csv"),
    path("for-sale/text/", views.text, name="text"),
    path("list/", views.public, name="public"),
]
