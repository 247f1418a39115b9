"""Pages of kits and supplies; a box's own page belongs to the room that sends it."""

from django.contrib import messages
from django.core.exceptions import ValidationError
from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.urls import reverse
from django.views.decorators.http import require_POST

from breeder.base import form_tokens
from breeder.orders.models import Order
from breeder.shipments import kit_figures
from breeder.shipments.actions import bench
from breeder.shipments.forms.box_forms import SuppliesForm, SupplyForm
from breeder.shipments.forms.kit_form import KitForm
from breeder.shipments.models import Kit
from breeder.shipments.queries import parcels
from breeder.shipments.rules import box_rules

REFUSED = 422


def kits(request: HttpRequest) -> HttpResponse:
    """Show the kits in order of cost with what their walls and packs are worth; take in the example set."""
    if request.method == "POST":
        token = request.POST.get("token", "")
        form_tokens.seen(token)
        if "noted" in request.POST:
            bench.note_old_measurements(by=request.user, token=token, answer=reverse("shipments:kits"))
            return redirect("shipments:kits")
        made = bench.load_example_kits(by=request.user, token=token, answer=reverse("shipments:kits"))
        said = (
            f"{len(made)} {'kit' if len(made) == 1 else 'kits'} written down. Put in your own sizes and costs where "
            "they differ, and count what is on the shelf: a kit of which something is missing is not tried."
            if made
            else "Every example kit is in your book already, so nothing was added."
        )
        messages.success(request, said)
        return redirect("shipments:kits")
    fahrenheit = request.household.fahrenheit
    short = parcels.short_supplies(Kit.objects.values_list("pk", flat=True))
    rows = [
        {"kit": kit, "worth": kit_figures.worth_of(kit, fahrenheit=fahrenheit), "short": short[kit.pk]}
        for kit in parcels.kits()
    ]
    return render(request, "shipments/kits.html", {"rows": rows, "remeasure": parcels.kits_to_remeasure()})


def kit(request: HttpRequest, pk: int) -> HttpResponse:
    """Show one kit for changing, with its figures."""
    return _kit_page(request, get_object_or_404(Kit, pk=pk))


def kit_new(request: HttpRequest) -> HttpResponse:
    """Take a new kit."""
    return _kit_page(request, None)


def _kit_page(request: HttpRequest, before: Kit | None) -> HttpResponse:
    token = request.POST.get("token", "")
    figures = kit_figures.worth_of(before, fahrenheit=request.household.fahrenheit) if before else None
    form = KitForm(request.POST if request.method == "POST" else None, household=request.household, kit=before)
    if request.method == "POST":
        form_tokens.seen(token)
        if form.is_valid():
            wanted = form.kit()
            figures = kit_figures.worth_of(wanted, fahrenheit=request.household.fahrenheit)
            if figures.fault:
                form.add_error(None, figures.fault)
            elif "reckon" in request.POST:
                messages.info(request, f"Worked out, not kept yet. {' '.join(figures.sentences)}")
            else:
                try:
                    kept = bench.save_kit(
                        wanted, form.parts(), by=request.user, token=token, answer=reverse("shipments:kits")
                    )
                except ValidationError as refusal:
                    form.add_error(None, refusal)
                else:
                    messages.success(request, f"{kept} is written down.")
                    return redirect("shipments:kits")
    context = {
        "form": form,
        "kit": before if before and before.pk else None,
        "figures": figures,
        "cautions": box_rules.instructions_for(before, fahrenheit=request.household.fahrenheit),
    }
    return render(request, "shipments/kit.html", context, status=REFUSED if form.errors else 200)


@require_POST
def plan(request: HttpRequest, order_number: int) -> HttpResponse:
    """Plan a box for everything of an order that stands in none yet."""
    get_object_or_404(Order, number=order_number)
    token = request.POST.get("token", "")
    form_tokens.seen(token)
    try:
        parcel = bench.plan_parcel(order_number, by=request.user, token=token)
    except ValidationError as refusal:
        form_tokens.seen(token)  # a double click is refused for what its first click did
        for sentence in refusal.messages:
            messages.error(request, sentence)
        return redirect("shipments:list")
    messages.success(request, f"Box {parcel.number} is planned for order {order_number}. Check it before it leaves.")
    return redirect("shipments:parcel", parcel.number)


def supplies(request: HttpRequest) -> HttpResponse:
    """Show what is on the shelf, and take in counts and new supplies."""
    rows = list(parcels.supplies())
    token, here = request.POST.get("token", ""), reverse("shipments:supplies")
    adding = "add" in request.POST
    counts = SuppliesForm(request.POST if request.method == "POST" and not adding else None, supplies=rows)
    fresh = SupplyForm(request.POST if adding else None)
    if request.method == "POST":
        form_tokens.seen(token)
        form = fresh if adding else counts
        if form.is_valid():
            try:
                if adding:
                    bench.add_supply(**fresh.cleaned_data, by=request.user, token=token, answer=here)
                else:
                    bench.count_supplies(counts.counts(), by=request.user, token=token, answer=here)
            except ValidationError as refusal:
                form.add_error(None, refusal)
            else:
                messages.success(request, "The shelf is written down.")
                return redirect(here)
    status = REFUSED if counts.errors or fresh.errors else 200
    return render(
        request, "shipments/supplies.html", {"supplies": rows, "counts": counts, "fresh": fresh}, status=status
    )
