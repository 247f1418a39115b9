"""Addresses of the room's pages."""

from django.urls import path

from breeder.packing import views

app_name = "packing"
urlpatterns = [
    path("kits/", views.kits, name="kits"),
    path("kits/new/", views.kit_new, name="kit_new"),
    path("kits/<int:pk>/", views.kit, name="kit"),
    path("orders/<int:order_number>/box/", views.plan, name="plan"),
    path("supplies/", views.supplies, name="supplies"),
]
