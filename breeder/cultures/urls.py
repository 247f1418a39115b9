"""Addresses of the room's pages."""

from django.urls import path

from breeder.cultures import views

app_name = "cultures"
urlpatterns = [
    path("tubs/", views.tub_list, name="tubs"),
    path("tubs/to-count/", views.to_count, name="to_count"),
    path("tubs/own-errors/", views.own_errors, name="own_errors"),
    path("tubs/new/", views.tub_new, name="tub_new"),
    path("tubs/<int:number>/", views.tub, name="tub"),
    path("tubs/<int:number>/count/", views.tub_count, name="tub_count"),
    path("tubs/<int:number>/looked/", views.tub_looked, name="tub_looked"),
    path("tubs/<int:number>/change/", views.tub_change, name="tub_change"),
    path("tubs/<int:number>/correct/", views.undo, name="tub_correct"),
    path("tubs/<int:number>/move/", views.tub_move, name="tub_move"),
    path("tubs/<int:number>/split/", views.tub_split, name="tub_split"),
    path("tubs/<int:number>/merge/", views.tub_merge, name="tub_merge"),
    path("tubs/<int:number>/close/", views.tub_close, name="tub_close"),
    path("tubs/<int:number>/purpose/", views.tub_purpose, name="tub_purpose"),
    path("tubs/<int:number>/not-for-sale/", views.tub_not_for_sale, name="tub_not_for_sale"),
    path("lines/", views.line_list, name="lines"),
    path("lines/<int:pk>/", views.line, name="line"),
    path("lines/<int:pk>/minimum/", views.line_minimum, name="line_minimum"),
    path("lines/<int:pk>/freeze/", views.line_freeze, name="line_freeze"),
    path("round/", views.start, name="round"),
    path("round/list/", views.overview, name="round_list"),
    path("round/sheet/", views.sheet, name="sheet"),
    path("round/carried/", views.carried, name="round_carried"),
    path("round/<int:number>/", views.round_tub, name="round_tub"),
    path("care/", views.care, name="care"),
]
