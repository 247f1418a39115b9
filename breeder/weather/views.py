"""Pages of places and their hours."""

from collections.abc import Callable
from datetime import datetime

from django.contrib import messages
from django.core.exceptions import ValidationError
from django.http import HttpRequest, HttpResponse, QueryDict
from django.shortcuts import get_object_or_404, redirect, render
from django.utils import timezone
from django.views.decorators.http import require_POST

from breeder.base import form_tokens
from breeder.weather import actions, charts, queries, refresh
from breeder.weather.forms import DaysForm, PlaceForm, UploadForm
from breeder.weather.models import Place
from breeder.weather.place_bias import LEARNT_FROM

REFUSED = 422


def places(request: HttpRequest) -> HttpResponse:
    """Show the places that hours are kept for, and take a new one."""
    form = PlaceForm(_sent(request), initial={"zone": request.household.timezone})
    if request.method == "POST":
        form_tokens.seen(request.POST.get("token", ""))
        if form.is_valid():
            try:
                place = actions.keep_place(**form.cleaned_data, by=request.user, token=request.POST.get("token", ""))
            except ValidationError as refusal:
                form.add_error(None, refusal)
            else:
                messages.success(request, f"{place} is kept. Send in its hours, or type lows and highs.")
                return redirect(actions.page_of(place))
    status = REFUSED if form.errors else 200
    return render(request, "weather/places.html", {"places": queries.places(), "form": form}, status=status)


def place(request: HttpRequest, pk: int) -> HttpResponse:
    """Show one place: its hours as a picture, and where they came from."""
    here = get_object_or_404(Place, pk=pk)
    received = list(queries.forecasts_of(here)[:20])
    start, end = charts.window_of(received[0], timezone.now()) if received else (None, None)
    hours = queries.hours_for(here, start, end) if start else None
    chart = charts.drawn(hours, fahrenheit=request.household.fahrenheit) if hours else None
    context = {
        "place": here,
        "received": received,
        "hours": hours,
        "chart": chart,
        "learnt": list(here.learnt.filter(learnt_at__gt=timezone.now() - LEARNT_FROM)),
        "usual": queries.usual_ahead_of(here, hours, timezone.now(), fahrenheit=request.household.fahrenheit),
        "askings": queries.askings_of(here, request.household, timezone.now()),
    }
    return render(request, "weather/place.html", context)


@require_POST
def fresh(request: HttpRequest, pk: int) -> HttpResponse:
    """Ask for fresh hours of a place; they come beside the page, which does not wait for them."""
    here = get_object_or_404(Place, pk=pk)
    token = request.POST.get("token", "")
    form_tokens.seen(token)
    try:
        actions.want_fresh(here.pk, by=request.user, token=token)
    except ValidationError as refusal:
        form_tokens.seen(token)  # a double click is refused for what its first click did
        messages.error(request, " ".join(refusal.messages))
    else:
        refresh.bring_wanted_soon()
        messages.success(request, f"Fresh hours for {here} are being brought. Look again in a few seconds.")
    return redirect(actions.page_of(here))


def upload(request: HttpRequest, pk: int) -> HttpResponse:
    """Take a file of hours for a place."""
    here = get_object_or_404(Place, pk=pk)
    token = request.POST.get("token", "")
    form = UploadForm(
        _sent(request),
        request.FILES if request.method == "POST" else None,
        household_zone=request.household.zone,
        initial={"zone": here.timezone, "issued_at": _clock(timezone.localtime())},
    )
    if request.method == "POST":
        form_tokens.seen(token)
        if form.is_valid():
            given = dict(form.cleaned_data)
            content = given.pop("file").read()
            try:
                said = _kept(given.pop("measured"))(here.pk, content, **given, by=request.user, token=token)
            except ValidationError as refusal:
                form.add_error(None, refusal)
            else:
                messages.success(request, said)
                return redirect(actions.page_of(here))
    return render(request, "weather/upload.html", {"place": here, "form": form}, status=REFUSED if form.errors else 200)


def _kept(measured: bool) -> Callable[..., str]:
    """Return what keeps a file of measured or of forecast hours, and says what it kept."""
    if not measured:
        return lambda *args, **given: actions.summary(actions.upload_hours(*args, **given))
    return lambda *args, issued_at=None, **given: actions.upload_measured(*args, **given)


def type_days(request: HttpRequest, pk: int) -> HttpResponse:
    """Take lows and highs typed by hand for a place."""
    here = get_object_or_404(Place, pk=pk)
    token = request.POST.get("token", "")
    today = timezone.localtime(timezone=here.zone).date()
    form = DaysForm(_sent(request), place=here, today=today, fahrenheit=request.household.fahrenheit)
    if request.method == "POST":
        form_tokens.seen(token)
        if form.is_valid():
            try:
                kept = actions.type_days(here.pk, form.cleaned_data["days"], by=request.user, token=token)
            except ValidationError as refusal:
                form.add_error(None, refusal)
            else:
                messages.success(request, actions.summary(kept))
                return redirect(actions.page_of(here))
    return render(
        request, "weather/by_hand.html", {"place": here, "form": form}, status=REFUSED if form.errors else 200
    )


def _sent(request: HttpRequest) -> QueryDict | None:
    """Return what was sent, even if it is nothing at all; None where the page is only looked at."""
    return request.POST if request.method == "POST" else None


def _clock(at: datetime) -> str:
    return f"{at:%Y-%m-%dT%H:%M}"
