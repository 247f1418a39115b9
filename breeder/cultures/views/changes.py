"""What happens to a tub, one form each: animals in and out, a new tub, a split, a merge, its end, what it is for."""

from typing import Any

from django.http import HttpRequest, HttpResponse
from django.urls import reverse

from breeder.base import photos
from breeder.base.offline_forms import typed_at
from breeder.base.roles import keeper_only
from breeder.base.submit import typed
from breeder.cultures import entry_text
from breeder.cultures.actions.changes import move_animals, record_change
from breeder.cultures.actions.line_lock import Recorded
from breeder.cultures.actions.states import set_not_for_sale, set_purpose
from breeder.cultures.actions.tubs import close_tub, merge_tubs, split_tub, start_tub
from breeder.cultures.forms.fields import as_number
from breeder.cultures.forms.tubs import (
    ChangeForm,
    CloseForm,
    MergeForm,
    MoveForm,
    NewTubForm,
    NotForSaleForm,
    PurposeForm,
    SplitForm,
)
from breeder.cultures.models import Culture
from breeder.cultures.queries.tubs import lines_open, tubs_open
from breeder.cultures.views.answers import form_page, tub_or_404, tub_url, with_fault


def tub_new(request: HttpRequest) -> HttpResponse:
    """Begin a tub."""
    form = NewTubForm(typed(request), lines=lines_open(), initial={"line": request.GET.get("line")})

    def act(**how: Any) -> Recorded:
        line, started_on = form.cleaned_data["line"], form.cleaned_data["started_on"]
        return start_tub(line.pk, form.place, received=form.animals(), started_on=started_on, **how)

    return form_page(
        request,
        form,
        act,
        done=_begun,
        to=lambda recorded: tub_url(recorded.entry.culture),
        title="New tub",
        lede="It gets the next free number, which is never used again.",
        submit="Start tub",
        back=reverse("cultures:tubs"),
    )


def tub_change(request: HttpRequest, number: int) -> HttpResponse:
    """Record animals that died, were culled, received, or came back."""
    tub = tub_or_404(number)
    initial = {"reason": request.GET.get("reason", "died")}
    form = ChangeForm(typed(request), request.FILES or None, tub=tub, initial=initial)

    def act(**how: Any) -> Recorded:
        values = _moment_and_note(request, form.cleaned_data)
        animals, males, females = as_number(form.cleaned_data["number"])
        stage, reason = form.cleaned_data["stage"], form.cleaned_data["reason"]
        with photos.offered(form.cleaned_data["photo"], by=request.user) as offered:
            values |= {"males": males, "females": females, "photo": offered.photo}
            return with_fault(record_change(tub.pk, stage, animals, reason, **values, **how), offered)

    lede = "Known to the animal, so nothing has to be counted again."
    shown = {"keep": number} | _about(tub, "Died, culled, received", lede, "Record")
    return form_page(request, form, act, done=_recorded, to=tub_url(tub), **shown)


def tub_move(request: HttpRequest, number: int) -> HttpResponse:
    """Record animals carried into another tub."""
    tub = tub_or_404(number)
    form = MoveForm(typed(request), tub=tub, others=tubs_open(but=tub.pk))

    def act(**how: Any) -> Recorded:
        values = _moment_and_note(request, form.cleaned_data)
        animals, males, females = as_number(form.cleaned_data["number"])
        to, stage = form.cleaned_data["to"], form.cleaned_data["stage"]
        return move_animals(tub.pk, to.pk, stage, animals, males=males, females=females, **values, **how)

    def done(recorded: Recorded) -> str:
        return _recorded(recorded, form.cleaned_data["to"].number)

    lede = "Both tubs get an entry; a mistake takes both back."
    shown = {"keep": number} | _about(tub, "Move to another tub", lede, "Record")
    return form_page(request, form, act, done=done, to=tub_url(tub), **shown)


def tub_split(request: HttpRequest, number: int) -> HttpResponse:
    """Begin a new tub out of this one."""
    tub = tub_or_404(number)
    initial = {"shelf": tub.shelf, "place_on_shelf": tub.place_on_shelf, "purpose": tub.purpose}
    form = SplitForm(typed(request), tub=tub, initial=initial)

    def act(**how: Any) -> Recorded:
        values = {"happened_at": form.cleaned_data["happened_at"], "named": form.cleaned_data.get("named", "")}
        return split_tub(tub.pk, form.place, share=form.part, moved=form.animals(), **values, **how)

    def done(recorded: Recorded) -> str:
        return f"Tub {number} is split. {_begun(recorded)}"

    lede = "Tipping half over keeps both halves in doubt; counting animals over does not."
    shown = _about(tub, "Split into a new tub", lede, "Split")
    return form_page(request, form, act, done=done, to=tub_url(tub), **shown)


def tub_merge(request: HttpRequest, number: int) -> HttpResponse:
    """Tip this tub wholly into another."""
    tub = tub_or_404(number)
    form = MergeForm(typed(request), tub=tub, others=tubs_open(but=tub.pk))

    def act(**how: Any) -> Recorded:
        values = dict(form.cleaned_data)
        return merge_tubs(tub.pk, values.pop("into").pk, **values, **how)

    shown = _about(tub, "Tip into another tub", f"Tub {number} is closed by this.", "Tip over and close")
    return form_page(request, form, act, done=f"Tub {number} is tipped over and closed.", to=tub_url(tub), **shown)


def tub_close(request: HttpRequest, number: int) -> HttpResponse:
    """Close a tub."""
    tub = tub_or_404(number)
    form = CloseForm(typed(request), tub=tub)

    def act(**how: Any) -> Recorded:
        return close_tub(tub.pk, **form.cleaned_data, **how)

    shown = _about(tub, "Close tub", "What the book relied on in it no longer counts.", "Close tub")
    return form_page(request, form, act, done=f"Tub {number} is closed.", to=tub_url(tub), **shown)


def tub_purpose(request: HttpRequest, number: int) -> HttpResponse:
    """Set what a tub is for."""
    tub = tub_or_404(number)
    initial = {"purpose": tub.purpose, "quarantine_until": tub.quarantine_until}
    form = PurposeForm(typed(request), tub=tub, initial=initial)

    def act(**how: Any) -> Recorded:
        values = dict(form.cleaned_data)
        return set_purpose(tub.pk, values.pop("purpose"), **values, **how)

    lede = "Only breeding and growing tubs are sold from. A mixed tub stays mixed for good."
    shown = _about(tub, "What the tub is for", lede, "Set")
    return form_page(request, form, act, done=f"Set for tub {number}.", to=tub_url(tub), **shown)


@keeper_only
def tub_not_for_sale(request: HttpRequest, number: int) -> HttpResponse:
    """Keep a tub out of what is sold, or give it back."""
    tub = tub_or_404(number)
    form = NotForSaleForm(typed(request), tub=tub, initial={"because": tub.not_for_sale})

    def act(**how: Any) -> Recorded:
        return set_not_for_sale(tub.pk, form.cleaned_data["because"], **how)

    shown = _about(tub, "Not for sale", "Nothing is promised out of the tub while a reason stands here.", "Set")
    return form_page(request, form, act, done=f"Set for tub {number}.", to=tub_url(tub), **shown)


def _moment_and_note(request: HttpRequest, data: dict[str, Any]) -> dict[str, Any]:
    """Return what forms have that a phone may keep for later: when it happened, a note, the name of a frozen line."""
    happened_at = data["happened_at"] or typed_at(request)
    return {"happened_at": happened_at, "note": data["note"], "named": data.get("named", "")}


def _recorded(recorded: Recorded, other: int | None = None) -> str:
    return f"Recorded for tub {recorded.entry.culture.number}: {entry_text.sentence_of(recorded.entry, other)}"


def _begun(recorded: Recorded) -> str:
    number = recorded.entry.culture.number
    return f"Tub {number} is begun. Write {number} on its lid."


def _about(tub: Culture, title: str, lede: str, submit: str) -> dict[str, Any]:
    return {"tub": tub, "line": tub.line, "title": title, "lede": lede, "submit": submit, "back": tub_url(tub)}
