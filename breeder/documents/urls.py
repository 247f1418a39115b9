"""Addresses of the PDFs."""

from django.urls import path

from breeder.documents import views

app_name = "documents"
urlpatterns = [
    path("paper/pulling-list.pdf", views.day_pulling_list, name="day_pulling_list"),
    path("paper/tub-labels.pdf", views.tub_labels, name="tub_labels"),
    path("paper/price-list.pdf", views.price_list, name="price_list"),
    path("paper/round-sheet.pdf", views.round_sheet, name="round_sheet"),
    path("paper/<int:number>/pulling-list.pdf", views.pulling_list, name="pulling_list"),
    path("paper/<int:number>/packing-slip.pdf", views.packing_slip, name="packing_slip"),
    path("paper/<int:number>/address-label.pdf", views.address_label, name="address_label"),
    path("paper/<int:number>/cup-labels.pdf", views.cup_labels, name="cup_labels"),
]
