"""Addresses of the room's pages."""

from django.urls import path

from breeder.packing import trials, views

app_name = "packing"
urlpatterns = [
    path("kits/", views.kits, name="kits"),
    path("kits/new/", views.kit_new, name="kit_new"),
    path("kits/<int:pk>/", views.kit, name="kit"),
    path("kits/<int:pk>/stress/", trials.stress_page, name="stress"),
    path("kits/<int:pk>/measure/", trials.measure_page, name="measure"),
    path("orders/<int:order_number>/box/", views.plan, name="plan"),
    path("supplies/", views.supplies, name="supplies"),
]
