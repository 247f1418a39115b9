"""Addresses of the room's pages."""

from django.urls import path

from breeder.shipments.views import board_views, box_views, kit_test_views, kit_views

app_name = "shipments"
urlpatterns = [
    path("kits/", kit_views.kits, name="kits"),
    path("kits/new/", kit_views.kit_new, name="kit_new"),
    path("kits/<int:pk>/", kit_views.kit, name="kit"),
    path("kits/<int:pk>/stress/", kit_test_views.stress_page, name="stress"),
    path("kits/<int:pk>/measure/", kit_test_views.measure_page, name="measure"),
    path("orders/<int:order_number>/box/", kit_views.plan, name="plan"),
    path("supplies/", kit_views.supplies, name="supplies"),
    path("packing/", box_views.waiting, name="list"),
    path("packing/board/", board_views.board, name="board"),
    path("packing/board/choose/", board_views.choose, name="board_choose"),
    path("packing/posting-days/<int:user_id>/<str:key>/days.ics", board_views.calendar, name="calendar"),
    path("packing/check/", box_views.check_all, name="check_all"),
    path("packing/<int:number>/", box_views.parcel, name="parcel"),
    path("packing/<int:number>/check/", box_views.check, name="check"),
    path("packing/<int:number>/kit/", box_views.choose_kit, name="choose_kit"),
    path("packing/<int:number>/way/", box_views.choose_way, name="way"),
    path("packing/<int:number>/day/", box_views.choose_day, name="day"),
    path("packing/<int:number>/contents/", box_views.contents, name="contents"),
    path("packing/<int:number>/packed/", box_views.packed, name="packed"),
    path("packing/<int:number>/send/", box_views.send, name="send"),
    path("packing/<int:number>/unpack/", box_views.unpack, name="unpack"),
]
