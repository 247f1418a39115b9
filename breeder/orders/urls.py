"""Addresses of the room's pages."""

from django.urls import URLPattern, path

from breeder.orders import views

app_name = "orders"
urlpatterns: list[URLPattern] = [
    path("orders/", views.order_list, name="list"),
    path("orders/orders.csv", views.order_csv, name="csv"),
    path("orders/new/", views.order_new, name="new"),
    path("orders/<int:number>/", views.order_page, name="order"),
    path("orders/<int:number>/change/", views.order_change, name="change"),
    path("orders/<int:number>/cancel/", views.order_cancel, name="cancel"),
    path("orders/<int:number>/pay/", views.order_pay, name="pay"),
    path("orders/<int:number>/hold/", views.order_hold, name="hold"),
    path("offers/", views.offer_list, name="offers"),
    path("offers/new/", views.offer_new, name="offer_new"),
    path("offers/<int:pk>/edit/", views.offer_edit, name="offer_edit"),
]
