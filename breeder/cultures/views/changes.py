"""What happens to a tub, one form each: animals in and out, a new tub, a split, a merge, its end, what it is for."""

from typing import Any

from django.http import HttpRequest, HttpResponse
from django.urls import reverse

from breeder.base import form_tokens, photos
from breeder.base.offline_forms import typed_at
from breeder.base.roles import keeper_only
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
    form_tokens.seen(request.POST.get("token", ""))
    form = NewTubForm(request.POST or None, lines=lines_open(), initial={"line": request.GET.get("line")})

    def act(data: dict[str, Any], token: str) -> Recorded:
        return start_tub(
            data["line"].pk,
            form.place,
            received=form.animals(),
            started_on=data["started_on"],
            by=request.user,
            token=token,
        )

    shown = {
        "title": "New tub",
        "lede": "It gets the next free number, which is never used again.",
        "submit": "Start tub",
    }
    shown |= {"back": reverse("cultures:tubs")}
    return form_page(request, form, shown, act, done=_begun, answer=lambda recorded: tub_url(recorded.entry.culture))


def tub_change(request: HttpRequest, number: int) -> HttpResponse:
    """Record animals that died, were culled, received, or came back."""
    form_tokens.seen(request.POST.get("token", ""))
    tub = tub_or_404(number)
    initial = {"reason": request.GET.get("reason", "died")}
    form = ChangeForm(request.POST or None, request.FILES or None, tub=tub, initial=initial)

    def act(data: dict[str, Any], token: str) -> Recorded:
        many, males, females = as_number(data["number"])
        with photos.offered(data["photo"], by=request.user) as offered:
            recorded = record_change(
                tub.pk,
                data["stage"],
                many,
                data["reason"],
                males=males,
                females=females,
                happened_at=data["happened_at"] or typed_at(request),
                note=data["note"],
                named=data.get("named", ""),
                photo=offered.photo,
                by=request.user,
                token=token,
            )
        return with_fault(recorded, offered)

    shown = {"keep": number} | _about(
        tub, "Died, culled, received", "Known to the animal, so nothing has to be counted again.", "Record"
    )
    return form_page(request, form, shown, act, done=_recorded, answer=tub_url(tub))


def tub_move(request: HttpRequest, number: int) -> HttpResponse:
    """Record animals carried into another tub."""
    form_tokens.seen(request.POST.get("token", ""))
    tub = tub_or_404(number)
    form = MoveForm(request.POST or None, tub=tub, others=tubs_open(but=tub.pk))

    def act(data: dict[str, Any], token: str) -> Recorded:
        many, males, females = as_number(data["number"])
        return move_animals(
            tub.pk,
            data["to"].pk,
            data["stage"],
            many,
            males=males,
            females=females,
            happened_at=data["happened_at"] or typed_at(request),
            note=data["note"],
            named=data.get("named", ""),
            by=request.user,
            token=token,
        )

    shown = {"keep": number} | _about(
        tub, "Move to another tub", "Both tubs get an entry; a mistake takes both back.", "Record"
    )

    def done(recorded: Recorded) -> str:
        return _recorded(recorded, form.cleaned_data["to"].number)

    return form_page(request, form, shown, act, done=done, answer=tub_url(tub))


def tub_split(request: HttpRequest, number: int) -> HttpResponse:
    """Begin a new tub out of this one."""
    form_tokens.seen(request.POST.get("token", ""))
    tub = tub_or_404(number)
    initial = {"shelf": tub.shelf, "place_on_shelf": tub.place_on_shelf, "purpose": tub.purpose}
    form = SplitForm(request.POST or None, tub=tub, initial=initial)

    def act(data: dict[str, Any], token: str) -> Recorded:
        return split_tub(
            tub.pk,
            form.place,
            share=form.part,
            moved=form.animals(),
            happened_at=data["happened_at"],
            named=data.get("named", ""),
            by=request.user,
            token=token,
            answer=tub_url(tub),
        )

    lede = "Tipping half over keeps both halves in doubt; counting animals over does not."
    shown = _about(tub, "Split into a new tub", lede, "Split")
    return form_page(
        request,
        form,
        shown,
        act,
        done=lambda recorded: f"Tub {number} is split. {_begun(recorded)}",
        answer=tub_url(tub),
    )


def tub_merge(request: HttpRequest, number: int) -> HttpResponse:
    """Tip this tub wholly into another."""
    form_tokens.seen(request.POST.get("token", ""))
    tub = tub_or_404(number)
    form = MergeForm(request.POST or None, tub=tub, others=tubs_open(but=tub.pk))

    def act(data: dict[str, Any], token: str) -> Recorded:
        return merge_tubs(
            tub.pk,
            data["into"].pk,
            happened_at=data["happened_at"],
            note=data["note"],
            named=data.get("named", ""),
            by=request.user,
            token=token,
        )

    shown = _about(tub, "Tip into another tub", f"Tub {number} is closed by this.", "Tip over and close")
    return form_page(request, form, shown, act, done=f"Tub {number} is tipped over and closed.", answer=tub_url(tub))


def tub_close(request: HttpRequest, number: int) -> HttpResponse:
    """Close a tub."""
    form_tokens.seen(request.POST.get("token", ""))
    tub = tub_or_404(number)
    form = CloseForm(request.POST or None, tub=tub)

    def act(data: dict[str, Any], token: str) -> Recorded:
        return close_tub(
            tub.pk,
            reason=data["reason"],
            happened_at=data["happened_at"],
            named=data.get("named", ""),
            by=request.user,
            token=token,
        )

    shown = _about(tub, "Close tub", "What the book relied on in it no longer counts.", "Close tub")
    return form_page(request, form, shown, act, done=f"Tub {number} is closed.", answer=tub_url(tub))


def tub_purpose(request: HttpRequest, number: int) -> HttpResponse:
    """Set what a tub is for."""
    form_tokens.seen(request.POST.get("token", ""))
    tub = tub_or_404(number)
    initial = {"purpose": tub.purpose, "quarantine_until": tub.quarantine_until}
    form = PurposeForm(request.POST or None, tub=tub, initial=initial)

    def act(data: dict[str, Any], token: str) -> Recorded:
        return set_purpose(
            tub.pk,
            data["purpose"],
            quarantine_until=data["quarantine_until"],
            reason=data["reason"],
            named=data.get("named", ""),
            by=request.user,
            token=token,
        )

    lede = "Only breeding and growing tubs are sold from. A mixed tub stays mixed for good."
    shown = _about(tub, "What the tub is for", lede, "Set")
    return form_page(request, form, shown, act, done=f"Set for tub {number}.", answer=tub_url(tub))


@keeper_only
def tub_not_for_sale(request: HttpRequest, number: int) -> HttpResponse:
    """Keep a tub out of what is sold, or give it back."""
    form_tokens.seen(request.POST.get("token", ""))
    tub = tub_or_404(number)
    form = NotForSaleForm(request.POST or None, tub=tub, initial={"because": tub.not_for_sale})

    def act(data: dict[str, Any], token: str) -> Recorded:
        return set_not_for_sale(tub.pk, data["because"], by=request.user, token=token)

    shown = _about(tub, "Not for sale", "Nothing is promised out of the tub while a reason stands here.", "Set")
    return form_page(request, form, shown, act, done=f"Set for tub {number}.", answer=tub_url(tub))


def _recorded(recorded: Recorded, other: int | None = None) -> str:
    return f"Recorded for tub {recorded.entry.culture.number}: {entry_text.sentence_of(recorded.entry, other)}"


def _begun(recorded: Recorded) -> str:
    number = recorded.entry.culture.number
    return f"Tub {number} is begun. Write {number} on its lid."


def _about(tub: Culture, title: str, lede: str, submit: str) -> dict[str, Any]:
    return {"tub": tub, "line": tub.line, "title": title, "lede": lede, "submit": submit, "back": tub_url(tub)}
