"""Addresses of the room's pages."""

from django.urls import path

from breeder.dispatch import board_views, views

app_name = "dispatch"
urlpatterns = [
    path("packing/", views.waiting, name="list"),
    path("packing/board/", board_views.board, name="board"),
    path("packing/board/choose/", board_views.choose, name="board_choose"),
    path("packing/posting-days/<int:user_id>/<str:key>/days.ics", board_views.calendar, name="calendar"),
    path("packing/check/", views.check_all, name="check_all"),
    path("packing/<int:number>/", views.parcel, name="parcel"),
    path("packing/<int:number>/check/", views.check, name="check"),
    path("packing/<int:number>/kit/", views.choose_kit, name="kit"),
    path("packing/<int:number>/way/", views.choose_way, name="way"),
    path("packing/<int:number>/day/", views.choose_day, name="day"),
    path("packing/<int:number>/contents/", views.contents, name="contents"),
    path("packing/<int:number>/packed/", views.packed, name="packed"),
    path("packing/<int:number>/send/", views.send, name="send"),
    path("packing/<int:number>/unpack/", views.unpack, name="unpack"),
]
