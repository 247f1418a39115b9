"""The page for what is usual at a place."""

from typing import Any

from django.contrib import messages
from django.core.exceptions import ValidationError
from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render

from breeder.base import form_tokens
from breeder.base.roles import is_keeper
from breeder.weather import actions, queries
from breeder.weather.climatology import by_month, months_said
from breeder.weather.climatology_forms import UsualForm
from breeder.weather.models import Place

REFUSED = 422


def usual(request: HttpRequest, pk: int) -> HttpResponse:
    """Take the usual lows and highs of a place; months that were measured here are filled in already."""
    here = get_object_or_404(Place, pk=pk)
    token = request.POST.get("token", "")
    kept, measured = queries.usual_of(here), by_month(queries.usual_by_measured(here))
    form = UsualForm(
        request.POST if request.method == "POST" else None,
        request.FILES if request.method == "POST" else None,
        fahrenheit=request.household.fahrenheit,
        kept={**measured, **kept},
        may_remove=is_keeper(request.user),
        initial={"credit": queries.usual_credit_of(here)},
    )
    if request.method == "POST":
        form_tokens.seen(token)
        if form.is_valid():
            try:
                said = _keep(request, here, form.cleaned_data, set(kept))
            except ValidationError as refusal:
                form.add_error(None, refusal)
            else:
                messages.success(request, said)
                return redirect(actions.page_of(here))
    context = {"place": here, "form": form, "measured": len(measured.keys() - kept.keys())}
    return render(request, "weather/usual.html", context, status=REFUSED if form.errors else 200)


def _keep(request: HttpRequest, here: Place, given: dict[str, Any], kept: set[int]) -> str:
    """Keep the months that were sent, and return what came of it; those left empty stay unless they are removed."""
    months, removes = given["months"], given.get("removes_others", False)
    token = request.POST.get("token", "")
    actions.keep_usual(here.pk, months, removes_others=removes, credit=given["credit"], by=request.user, token=token)
    said, left = f"Kept {months_said(len(months))} of {here}.", kept - {one.month for one in months}
    if not left:
        return said
    return f"{said} {months_said(len(left))} {'removed' if removes else 'not filled in: left as before'}."
