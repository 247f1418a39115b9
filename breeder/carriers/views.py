"""Pages of services and closures."""

from datetime import date
from typing import Any

from django.contrib import messages
from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.urls import reverse
from django.utils import timezone

from breeder.base import form_tokens
from breeder.base.dates import weekday_said
from breeder.base.roles import keeper_only
from breeder.carriers import actions, queries
from breeder.carriers.forms import WEEKDAYS, ClosureForm, HolidaysForm, ServiceForm
from breeder.carriers.models import Closure, Service
from breeder.core.transit import delivery_days

REFUSED = 422


def services(request: HttpRequest) -> HttpResponse:
    """Show every service with the days on which it can be used next."""
    today = timezone.localdate()
    closures = queries.closures_by_carrier()
    rows = [_row(service, closures.get(service.carrier, []), today) for service in queries.services(active=False)]
    missing = delivery_days.missing_closures(closures, today)
    return render(request, "carriers/services.html", {"rows": rows, "missing": missing})


def _row(service: Service, closures: list[date], today: date) -> dict[str, Any]:
    timing = queries.timing_of(service)
    return {
        "service": service,
        "days": [day for day in delivery_days.posting_days(timing, closures, today) if day.usable],
        "weekdays": ", ".join(WEEKDAYS[day] for day in sorted(timing.weekdays) if day < len(WEEKDAYS)),
        "way": way_said(service),
        "delays": delivery_days.shares_said(timing.delay_shares),
        "delays_from": delivery_days.mark_of_shares(service.delay_shares),
    }


def way_said(service: Service) -> str:
    """Return what is known of a service's way: 'through the night in unheated trailers; doorstep in the shade'."""
    said = []
    if service.network != Service.Network.DEPOTS:
        said.append(f"through the night {service.get_network_display()}")
    elif service.hub_c is not None:
        said.append("depots of a known temperature")
    if service.to_doorstep and service.doorstep != Service.Doorstep.UNKNOWN:
        said.append(f"doorstep {service.get_doorstep_display()}")
    return "; ".join(said) or "nothing known, so the usual range counts"


@keeper_only
def service(request: HttpRequest, pk: int | None = None) -> HttpResponse:
    """Add or edit a service."""
    form_tokens.seen(request.POST.get("token", ""))
    kept = get_object_or_404(Service, pk=pk) if pk else Service()
    form = ServiceForm(request.POST or None, instance=kept, fahrenheit=request.household.fahrenheit)  # type: ignore[attr-defined]
    if request.method == "POST" and form.is_valid():
        answer = reverse("carriers:services")
        actions.save_service(
            form.save(commit=False), by=request.user, token=request.POST.get("token", ""), answer=answer
        )
        messages.success(request, f"{form.instance} is kept.")
        return redirect(answer)
    status = REFUSED if request.method == "POST" else 200
    return render(request, "carriers/service.html", {"form": form, "service": kept}, status=status)


@keeper_only
def closures(request: HttpRequest) -> HttpResponse:
    """Show closures; add one, a year's federal holidays, or take one off."""
    form_tokens.seen(request.POST.get("token", ""))
    today = timezone.localdate()
    carrier = Service.objects.values_list("carrier", flat=True).first() or ""
    wants_year = "year" in request.POST
    # Both forms ask for a carrier on one page, and a label belongs to one field only.
    sent = request.POST if request.POST and not wants_year else None
    closure = ClosureForm(sent, initial={"carrier": carrier}, auto_id="day_%s")
    year = HolidaysForm(request.POST) if wants_year else HolidaysForm.for_next(carrier, today)
    answer, token = reverse("carriers:closures"), request.POST.get("token", "")
    if wants_year and year.is_valid():
        actions.add_federal_holidays(**year.cleaned_data, by=request.user, token=token, answer=answer)
        messages.success(request, f"The federal holidays of {year.cleaned_data['year']} are on the list.")
        return redirect(answer)
    if request.method == "POST" and not wants_year and closure.is_valid():
        actions.save_closure(closure.save(commit=False), by=request.user, token=token, answer=answer)
        messages.success(request, f"{weekday_said(closure.cleaned_data['on'])} is on the list.")
        return redirect(answer)
    shown = {
        "closures": Closure.objects.filter(on__gte=today),
        "missing": delivery_days.missing_closures(queries.closures_by_carrier(), today),
        "closure_form": closure,
        "year_form": year,
    }
    return render(request, "carriers/closures.html", shown, status=REFUSED if request.method == "POST" else 200)


@keeper_only
def remove_closure(request: HttpRequest, pk: int) -> HttpResponse:
    """Take a closure off."""
    form_tokens.seen(request.POST.get("token", ""))
    answer = reverse("carriers:closures")
    if request.method == "POST":
        kept = get_object_or_404(Closure, pk=pk)
        actions.remove_closure(kept, by=request.user, token=request.POST.get("token", ""), answer=answer)
        messages.success(request, f"{weekday_said(kept.on)} is off the list.")
    return redirect(answer)
