"""Addresses of the room's pages."""

from django.urls import URLPattern, path

from breeder.orders import crash_views, line_views, views

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
    path("lines/<int:pk>/people/", line_views.people, name="line_people"),
    path("lines/<int:pk>/people.csv", line_views.people_csv, name="line_people_csv"),
    path("lines/<int:pk>/promises/", line_views.promises, name="line_promises"),
    path("lines/<int:pk>/promises/tub/", line_views.name_tub, name="name_tub"),
    path("tubs/<int:number>/crash/", crash_views.crash, name="crash"),
    path("tubs/<int:number>/crash/over/", crash_views.crash_over, name="crash_over"),
    path("tubs/<int:number>/crash/<int:sister>/", crash_views.crash_sister, name="crash_sister"),
    path("offers/", views.offer_list, name="offers"),
    path("offers/new/", views.offer_new, name="offer_new"),
    path("offers/<int:pk>/edit/", views.offer_edit, name="offer_edit"),
]
