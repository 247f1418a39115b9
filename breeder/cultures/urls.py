"""Addresses of the room's pages."""

from django.urls import path

from breeder.cultures.views import changes, lines, next_counts, rounds, tubs
from breeder.cultures.views.sheet import sheet

app_name = "cultures"
urlpatterns = [
    path("tubs/", tubs.tub_list, name="tubs"),
    path("tubs/to-count/", next_counts.to_count, name="to_count"),
    path("tubs/own-errors/", next_counts.own_errors, name="own_errors"),
    path("tubs/new/", changes.tub_new, name="tub_new"),
    path("tubs/<int:number>/", tubs.tub_page, name="tub"),
    path("tubs/<int:number>/count/", tubs.tub_count, name="tub_count"),
    path("tubs/<int:number>/looked/", tubs.tub_looked, name="tub_looked"),
    path("tubs/<int:number>/change/", changes.tub_change, name="tub_change"),
    path("tubs/<int:number>/correct/", rounds.undo, name="tub_correct"),
    path("tubs/<int:number>/move/", changes.tub_move, name="tub_move"),
    path("tubs/<int:number>/split/", changes.tub_split, name="tub_split"),
    path("tubs/<int:number>/merge/", changes.tub_merge, name="tub_merge"),
    path("tubs/<int:number>/close/", changes.tub_close, name="tub_close"),
    path("tubs/<int:number>/purpose/", changes.tub_purpose, name="tub_purpose"),
    path("tubs/<int:number>/not-for-sale/", changes.tub_not_for_sale, name="tub_not_for_sale"),
    path("lines/", lines.line_list, name="lines"),
    path("lines/<int:pk>/", lines.line_page, name="line"),
    path("lines/<int:pk>/minimum/", lines.line_minimum, name="line_minimum"),
    path("lines/<int:pk>/freeze/", lines.line_freeze, name="line_freeze"),
    path("round/", rounds.start, name="round"),
    path("round/list/", rounds.overview, name="round_list"),
    path("round/sheet/", sheet, name="sheet"),
    path("round/carried/", rounds.carried_round, name="round_carried"),
    path("round/<int:number>/", rounds.round_tub, name="round_tub"),
    path("care/", rounds.care, name="care"),
]
