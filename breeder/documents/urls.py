"""Addresses of the PDFs."""

from collections.abc import Callable
from importlib import import_module
from typing import Any

from django.http import HttpRequest, HttpResponse
from django.urls import path


def _drawn(name: str) -> Callable[..., HttpResponse]:
    """Return a view of this room that is loaded with the first paper: the drawing library takes long to load."""

    def view(request: HttpRequest, **given: Any) -> HttpResponse:
        answer: HttpResponse = getattr(import_module("breeder.documents.views"), name)(request, **given)
        return answer

    return view


app_name = "documents"
urlpatterns = [
    path("paper/pulling-list.pdf", _drawn("day_pulling_list"), name="day_pulling_list"),
    path("paper/tub-labels.pdf", _drawn("tub_labels"), name="tub_labels"),
    path("paper/price-list.pdf", _drawn("price_list"), name="price_list"),
    path("paper/round-sheet.pdf", _drawn("round_sheet"), name="round_sheet"),
    path("paper/<int:number>/pulling-list.pdf", _drawn("pulling_list"), name="pulling_list"),
    path("paper/<int:number>/packing-slip.pdf", _drawn("packing_slip"), name="packing_slip"),
    path("paper/<int:number>/address-label.pdf", _drawn("address_label"), name="address_label"),
    path("paper/<int:number>/cup-labels.pdf", _drawn("cup_labels"), name="cup_labels"),
]
