"""The page for what is usual at a place."""

from typing import Any

from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404

from breeder.base.roles import is_keeper
from breeder.base.submit import page, submit, typed
from breeder.weather import actions, queries
from breeder.weather.climatology import keyed_by_month, months_text
from breeder.weather.climatology_forms import UsualForm
from breeder.weather.models import Place


def usual(request: HttpRequest, pk: int) -> HttpResponse:
    """Take the usual lows and highs of a place; months that were measured here are filled in already."""
    here = get_object_or_404(Place, pk=pk)
    kept, measured = queries.usual_by_month(here), keyed_by_month(queries.usual_by_measured(here))
    form = UsualForm(
        typed(request),
        request.FILES if request.method == "POST" else None,
        fahrenheit=request.household.fahrenheit,
        kept={**measured, **kept},
        may_remove=is_keeper(request.user),
        initial={"credit": queries.usual_credit(here)},
    )

    def act(**how: Any) -> Place:
        given = form.cleaned_data
        how |= {"removes_others": given.get("removes_others", False), "credit": given["credit"]}
        place: Place = actions.keep_usual(pk, given["months"], **how)
        return place

    def done(place: Place) -> str:
        return _done_words(place, form.cleaned_data, set(kept))

    answer = submit(request, act, form, to=actions.place_url, done=done)
    months_measured = len(measured.keys() - kept.keys())
    return answer or page(request, "weather/usual.html", place=here, form=form, measured=months_measured)


def _done_words(here: Place, given: dict[str, Any], kept: set[int]) -> str:
    """Return what came of the months that were sent; those left empty stay unless they are removed."""
    months, removes = given["months"], given.get("removes_others", False)
    said, left = f"Kept {months_text(len(months))} of {here}.", kept - {one.month for one in months}
    if not left:
        return said
    return f"{said} {months_text(len(left))} {'removed' if removes else 'not filled in: left as before'}."
