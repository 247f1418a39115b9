"""Pages of kits and supplies; a box's own page belongs to the room that sends it."""

from django.contrib import messages
from django.core.exceptions import ValidationError
from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.urls import reverse
from django.views.decorators.http import require_POST

from breeder.orders.models import Order
from breeder.packing import actions, queries, rules, worth
from breeder.packing.forms import SuppliesForm, SupplyForm
from breeder.packing.kit_form import KitForm
from breeder.packing.models import Kit
from breeder.pages import once

REFUSED = 422


def kits(request: HttpRequest) -> HttpResponse:
    """Show the kits in order of cost with what their walls and packs are worth; take in the example set."""
    if request.method == "POST":
        token = request.POST.get("token", "")
        once.seen(token)
        if "noted" in request.POST:
            actions.note_old_measurements(by=request.user, token=token, answer=reverse("packing:kits"))
            return redirect("packing:kits")
        made = actions.load_example_kits(by=request.user, token=token, answer=reverse("packing:kits"))
        said = (
            f"{len(made)} {'kit' if len(made) == 1 else 'kits'} written down. Put in your own sizes and costs where "
            "they differ, and count what is on the shelf: a kit of which something is missing is not tried."
            if made
            else "Every example kit is in your book already, so nothing was added."
        )
        messages.success(request, said)
        return redirect("packing:kits")
    fahrenheit = request.household.fahrenheit
    short = queries.short_supplies(Kit.objects.values_list("pk", flat=True))
    rows = [
        {"kit": kit, "worth": worth.worth_of(kit, fahrenheit=fahrenheit), "short": short[kit.pk]}
        for kit in queries.kits()
    ]
    return render(request, "packing/kits.html", {"rows": rows, "remeasure": queries.kits_to_remeasure()})


def kit(request: HttpRequest, pk: int) -> HttpResponse:
    """Show one kit for changing, with its figures."""
    return _kit_page(request, get_object_or_404(Kit, pk=pk))


def kit_new(request: HttpRequest) -> HttpResponse:
    """Take a new kit."""
    return _kit_page(request, None)


def _kit_page(request: HttpRequest, before: Kit | None) -> HttpResponse:
    token = request.POST.get("token", "")
    figures = worth.worth_of(before, fahrenheit=request.household.fahrenheit) if before else None
    form = KitForm(request.POST if request.method == "POST" else None, household=request.household, kit=before)
    if request.method == "POST":
        once.seen(token)
        if form.is_valid():
            wanted = form.kit()
            figures = worth.worth_of(wanted, fahrenheit=request.household.fahrenheit)
            if figures.fault:
                form.add_error(None, figures.fault)
            elif "reckon" in request.POST:
                messages.info(request, f"Worked out, not kept yet. {' '.join(figures.sentences)}")
            else:
                try:
                    kept = actions.save_kit(
                        wanted, form.parts(), by=request.user, token=token, answer=reverse("packing:kits")
                    )
                except ValidationError as refusal:
                    form.add_error(None, refusal)
                else:
                    messages.success(request, f"{kept} is written down.")
                    return redirect("packing:kits")
    context = {
        "form": form,
        "kit": before if before and before.pk else None,
        "figures": figures,
        "cautions": rules.instructions_for(before, fahrenheit=request.household.fahrenheit),
    }
    return render(request, "packing/kit.html", context, status=REFUSED if form.errors else 200)


@require_POST
def plan(request: HttpRequest, order_number: int) -> HttpResponse:
    """Plan a box for everything of an order that stands in none yet."""
    get_object_or_404(Order, number=order_number)
    token = request.POST.get("token", "")
    once.seen(token)
    try:
        parcel = actions.plan_parcel(order_number, by=request.user, token=token)
    except ValidationError as refusal:
        once.seen(token)  # a double click is refused for what its first click did
        for sentence in refusal.messages:
            messages.error(request, sentence)
        return redirect("dispatch:list")
    messages.success(request, f"Box {parcel.number} is planned for order {order_number}. Check it before it leaves.")
    return redirect("dispatch:parcel", parcel.number)


def supplies(request: HttpRequest) -> HttpResponse:
    """Show what is on the shelf, and take in counts and new supplies."""
    rows = list(queries.supplies())
    token, here = request.POST.get("token", ""), reverse("packing:supplies")
    adding = "add" in request.POST
    counts = SuppliesForm(request.POST if request.method == "POST" and not adding else None, supplies=rows)
    fresh = SupplyForm(request.POST if adding else None)
    if request.method == "POST":
        once.seen(token)
        form = fresh if adding else counts
        if form.is_valid():
            try:
                if adding:
                    actions.add_supply(**fresh.cleaned_data, by=request.user, token=token, answer=here)
                else:
                    actions.count_supplies(counts.counts(), by=request.user, token=token, answer=here)
            except ValidationError as refusal:
                form.add_error(None, refusal)
            else:
                messages.success(request, "The shelf is written down.")
                return redirect(here)
    status = REFUSED if counts.errors or fresh.errors else 200
    return render(request, "packing/supplies.html", {"supplies": rows, "counts": counts, "fresh": fresh}, status=status)
