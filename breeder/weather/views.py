"""Pages of places and their hours."""

from datetime import datetime
from typing import Any
from zoneinfo import ZoneInfo

from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.utils import timezone
from django.views.decorators.http import require_POST

from breeder.base.submit import page, submit, typed
from breeder.weather import actions, charts, hours_csv, queries, refresh
from breeder.weather.forms import DaysForm, PlaceForm, UploadForm
from breeder.weather.models import Place
from breeder.weather.place_bias import LEARNT_FROM


def places(request: HttpRequest) -> HttpResponse:
    """Show the places that hours are kept for, and take a new one."""
    form = PlaceForm(typed(request), initial={"zone": request.household.timezone})
    answer = submit(
        request,
        lambda **how: actions.keep_place(**form.cleaned_data, **how),
        form,
        to=actions.place_url,
        done=lambda place: f"{place} is kept. Send in its hours, or type lows and highs.",
    )
    return answer or page(request, "weather/places.html", places=queries.places(), form=form)


def place(request: HttpRequest, pk: int) -> HttpResponse:
    """Show one place: its hours as a picture, and where they came from."""
    here = get_object_or_404(Place, pk=pk)
    received = list(queries.place_forecasts(here)[:20])
    start, end = charts.shown_window(received[0], timezone.now()) if received else (None, None)
    hours = queries.hours_for(here, start, end) if start else None
    chart = charts.hours_chart(hours, fahrenheit=request.household.fahrenheit) if hours else None
    context = {
        "place": here,
        "received": received,
        "hours": hours,
        "chart": chart,
        "learnt": list(here.learnt.filter(learnt_at__gt=timezone.now() - LEARNT_FROM)),
        "usual": queries.usual_ahead_texts(here, hours, timezone.now(), fahrenheit=request.household.fahrenheit),
        "askings": queries.service_states(here, request.household, timezone.now()),
    }
    return render(request, "weather/place.html", context)


@require_POST
def fresh(request: HttpRequest, pk: int) -> HttpResponse:
    """Ask for fresh hours of a place; they come beside the page, which does not wait for them."""
    here = get_object_or_404(Place, pk=pk)
    done = f"Fresh hours for {here} are being brought. Look again in a few seconds."
    back = actions.place_url(here)
    answer = submit(request, lambda **how: actions.want_fresh(pk, **how), to=back, done=done)
    if answer:
        refresh.bring_wanted_soon()
    return answer or redirect(back)


def upload(request: HttpRequest, pk: int) -> HttpResponse:
    """Take a file of hours for a place."""
    here = get_object_or_404(Place, pk=pk)
    form = UploadForm(
        typed(request),
        request.FILES if request.method == "POST" else None,
        household_zone=request.household.zone,
        initial={"zone": here.timezone, "issued_at": _clock(timezone.localtime())},
    )

    def act(**how: Any) -> str:
        given = form.cleaned_data
        zone = ZoneInfo(given["zone"])
        readings = hours_csv.read_hours_csv(given["file"].read(), zone=zone, unit=given["unit"], sure=given["sure"])
        how |= {"credit": given["credit"]}
        if given["measured"]:
            return str(actions.upload_measured(pk, readings, **how))
        return actions.summary(actions.upload_hours(pk, readings, issued_at=given["issued_at"], **how))

    answer = submit(request, act, form, to=actions.place_url(here), done=str)
    return answer or page(request, "weather/upload.html", place=here, form=form)


def type_days(request: HttpRequest, pk: int) -> HttpResponse:
    """Take lows and highs typed by hand for a place."""
    here = get_object_or_404(Place, pk=pk)
    today = timezone.localtime(timezone=here.zone).date()
    form = DaysForm(typed(request), place=here, today=today, fahrenheit=request.household.fahrenheit)
    answer = submit(
        request,
        lambda **how: actions.type_days(pk, form.cleaned_data["days"], **how),
        form,
        to=actions.place_url(here),
        done=actions.summary,
    )
    return answer or page(request, "weather/by_hand.html", place=here, form=form)


def _clock(at: datetime) -> str:
    return f"{at:%Y-%m-%dT%H:%M}"
