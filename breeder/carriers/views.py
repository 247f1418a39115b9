"""Pages of services and closures."""

from datetime import date
from typing import Any

from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.utils import timezone

from breeder.base.dates import weekday_said
from breeder.base.roles import keeper_only
from breeder.base.submit import page, submit
from breeder.carriers import actions, queries
from breeder.carriers.forms import WEEKDAYS, ClosureForm, HolidaysForm, ServiceForm
from breeder.carriers.models import Closure, Service
from breeder.core.transit import delivery_days


def services(request: HttpRequest) -> HttpResponse:
    """Show every service with the days on which it can be used next."""
    today = timezone.localdate()
    closures = queries.closures_by_carrier()
    rows = [_row(service, closures.get(service.carrier, []), today) for service in queries.services(active=False)]
    missing = delivery_days.missing_closures(closures, today)
    return render(request, "carriers/services.html", {"rows": rows, "missing": missing})


def _row(service: Service, closures: list[date], today: date) -> dict[str, Any]:
    timing = queries.service_timing(service)
    return {
        "service": service,
        "days": [day for day in delivery_days.shipping_days(timing, closures, today) if day.usable],
        "weekdays": ", ".join(WEEKDAYS[day] for day in sorted(timing.weekdays) if day < len(WEEKDAYS)),
        "way": route_text(service),
        "delays": delivery_days.delay_shares_text(timing.delay_shares),
        "delays_from": delivery_days.delay_source_text(service.delay_shares),
    }


def route_text(service: Service) -> str:
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
    kept = get_object_or_404(Service, pk=pk) if pk else Service()
    form = ServiceForm(request.POST or None, instance=kept, fahrenheit=request.household.fahrenheit)  # type: ignore[attr-defined]
    answer = submit(
        request,
        lambda **how: actions.save_service(form.save(commit=False), **how),
        form,
        to="carriers:services",
        done=lambda service: f"{service} is kept.",
    )
    return answer or page(request, "carriers/service.html", form=form, service=kept)


@keeper_only
def closures(request: HttpRequest) -> HttpResponse:
    """Show closures; add one, a year's federal holidays, or take one off."""
    today = timezone.localdate()
    carrier = Service.objects.values_list("carrier", flat=True).first() or ""
    wants_year = "year" in request.POST
    # Both forms ask for a carrier on one page, and a label belongs to one field only.
    sent = request.POST if request.POST and not wants_year else None
    closure = ClosureForm(sent, initial={"carrier": carrier}, auto_id="day_%s")
    year = HolidaysForm(request.POST) if wants_year else HolidaysForm.for_next(carrier, today)
    if answer := _add_year(request, year) if wants_year else _add_closure(request, closure):
        return answer
    shown = {
        "closures": Closure.objects.filter(on__gte=today),
        "missing": delivery_days.missing_closures(queries.closures_by_carrier(), today),
        "closure_form": closure,
        "year_form": year,
    }
    return page(request, "carriers/closures.html", **shown)


def _add_year(request: HttpRequest, form: HolidaysForm) -> HttpResponse | None:
    return submit(
        request,
        lambda **how: actions.add_federal_holidays(**form.cleaned_data, **how),
        form,
        to="carriers:closures",
        done=lambda _: f"The federal holidays of {form.cleaned_data['year']} are on the list.",
    )


def _add_closure(request: HttpRequest, form: ClosureForm) -> HttpResponse | None:
    return submit(
        request,
        lambda **how: actions.save_closure(form.save(commit=False), **how),
        form,
        to="carriers:closures",
        done=lambda closure: f"{weekday_said(closure.on)} is on the list.",
    )


@keeper_only
def remove_closure(request: HttpRequest, pk: int) -> HttpResponse:
    """Take a closure off."""
    answer = submit(
        request,
        lambda **how: actions.remove_closure(get_object_or_404(Closure, pk=pk), **how),
        to="carriers:closures",
        done=lambda closure: f"{weekday_said(closure.on)} is off the list.",
    )
    return answer or redirect("carriers:closures")
