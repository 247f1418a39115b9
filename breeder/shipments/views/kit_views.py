"""Pages of kits and supplies; a box's own page belongs to the room that sends it."""

from typing import Any

from django.contrib import messages
from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.urls import reverse
from django.views.decorators.http import require_POST

from breeder.base.submit import REFUSED, page, submit, typed
from breeder.orders.models import Order
from breeder.shipments import kit_figures
from breeder.shipments.actions import bench
from breeder.shipments.forms.box_forms import SuppliesForm, SupplyForm
from breeder.shipments.forms.kit_form import KitForm
from breeder.shipments.models import Kit
from breeder.shipments.queries import parcels
from breeder.shipments.rules import box_rules


def kits(request: HttpRequest) -> HttpResponse:
    """Show the kits in order of cost with what their walls and packs are worth; take in the example set."""
    if "noted" in request.POST:
        answer = submit(request, bench.note_old_measurements, to="shipments:kits")
    else:
        answer = submit(request, bench.load_example_kits, to="shipments:kits", done=_loaded)
    fahrenheit = request.household.fahrenheit
    short = parcels.short_supplies(Kit.objects.values_list("pk", flat=True))
    rows = [
        {"kit": kit, "worth": kit_figures.kit_worth(kit, fahrenheit=fahrenheit), "short": short[kit.pk]}
        for kit in parcels.kits()
    ]
    return answer or page(request, "shipments/kits.html", rows=rows, remeasure=parcels.kits_to_remeasure())


def _loaded(made: list[Kit]) -> str:
    if not made:
        return "Every example kit is in your book already, so nothing was added."
    return (
        f"{len(made)} {'kit' if len(made) == 1 else 'kits'} written down. Put in your own sizes and costs where they "
        "differ, and count what is on the shelf: a kit of which something is missing is not tried."
    )


def kit(request: HttpRequest, pk: int) -> HttpResponse:
    """Show one kit for changing, with its figures."""
    return _kit_page(request, get_object_or_404(Kit, pk=pk))


def kit_new(request: HttpRequest) -> HttpResponse:
    """Take a new kit."""
    return _kit_page(request, None)


def _kit_page(request: HttpRequest, before: Kit | None) -> HttpResponse:
    form = KitForm(typed(request), household=request.household, kit=before)
    answer = None
    if "reckon" not in request.POST:
        answer = submit(
            request,
            lambda **how: bench.save_kit(form.kit(), form.parts(), **how),
            form,
            to="shipments:kits",
            done=lambda kit: f"{kit} is written down.",
        )
    elif form.is_valid():
        messages.info(request, f"Worked out, not kept yet. {' '.join(form.figures.sentences)}")
    context = {
        "form": form,
        "kit": before,
        "figures": form.figures,
        "cautions": box_rules.instructions_for(before, fahrenheit=request.household.fahrenheit),
    }
    return answer or render(request, "shipments/kit.html", context, status=REFUSED if form.errors else 200)


@require_POST
def plan(request: HttpRequest, order_number: int) -> HttpResponse:
    """Plan a box for everything of an order that stands in none yet."""
    get_object_or_404(Order, number=order_number)
    answer = submit(
        request,
        lambda **how: bench.plan_parcel(order_number, **how),
        to=lambda parcel: reverse("shipments:parcel", args=[parcel.number]),
        done=lambda parcel: f"Box {parcel.number} is planned for order {order_number}. Check it before it leaves.",
    )
    return answer or redirect("shipments:list")


def supplies(request: HttpRequest) -> HttpResponse:
    """Show what is on the shelf, and take in counts and new supplies."""
    rows, adding = list(parcels.supplies()), "add" in request.POST
    counts = SuppliesForm(None if adding else typed(request), supplies=rows)
    fresh = SupplyForm(request.POST if adding else None)

    def act(**how: Any) -> Any:
        return bench.add_supply(**fresh.cleaned_data, **how) if adding else bench.count_supplies(counts.counts(), **how)

    form = fresh if adding else counts
    answer = submit(request, act, form, to="shipments:supplies", done="The shelf is written down.")
    return answer or page(request, "shipments/supplies.html", supplies=rows, counts=counts, fresh=fresh)
