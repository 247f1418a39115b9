"""The count round on a phone: one screen a tub, one tap for a look, two for a guess by eye."""

from dataclasses import replace
from itertools import groupby
from typing import Any

from django.core.exceptions import ValidationError
from django.http import HttpRequest, HttpResponse, JsonResponse
from django.shortcuts import redirect, render
from django.urls import reverse
from django.utils import timezone
from django.views.decorators.http import require_POST, require_safe

from breeder.base import photos
from breeder.base.form_messages import show_refusal
from breeder.base.line_names import line_name
from breeder.base.offline_forms import typed_at
from breeder.base.submit import REFUSED, page, submit, typed
from breeder.core.counting.plurals import number_text
from breeder.cultures import entry_text
from breeder.cultures.actions.corrections import correct_entry
from breeder.cultures.actions.counts import care_for_shelf
from breeder.cultures.actions.line_lock import Recorded
from breeder.cultures.actions.rounds import record_round
from breeder.cultures.count_entry import BadFact, eye_class
from breeder.cultures.count_preview import Preview, preview
from breeder.cultures.forms.counts import EYE_CHOICES, CareForm
from breeder.cultures.forms.rounds import SEEN_CHOICES, RoundForm
from breeder.cultures.forms.tubs import CorrectForm
from breeder.cultures.models import Culture
from breeder.cultures.queries.next_counts import plan_of_week
from breeder.cultures.queries.offline_round import carried_on
from breeder.cultures.queries.rounds import Round, last_of, round_of
from breeder.cultures.queries.tubs import book_of, shelves
from breeder.cultures.views.answers import record, safe_next, tub_or_404, tub_url, with_fault
from breeder.species.models import Line


def start(request: HttpRequest) -> HttpResponse:
    """Go to the first tub that nobody looked into today; when all are done, say so."""
    stop = round_of(timezone.localdate()).first_to_do()
    if stop is not None:
        return redirect("cultures:round_tub", number=stop.number)
    return overview(request)


def overview(request: HttpRequest) -> HttpResponse:
    """Show which tubs of the round are still to do, those that were skipped too, and which are done."""
    today = round_of(timezone.localdate())
    by_shelf = [(shelf, list(stops)) for shelf, stops in groupby(today.stops, key=lambda stop: stop.shelf)]
    return render(request, "cultures/round_done.html", _last_of(request) | {"round": today, "shelves": by_shelf})


@require_safe
def carried_round(request: HttpRequest) -> HttpResponse:
    """Give the phone all tubs of the round, so that it can be walked on where nothing answers."""
    tubs = [
        {
            "number": carried.tub.number,
            "shelf": carried.tub.shelf,
            "name": line_name(carried.tub.line),
            "byHead": carried.by_head,
            "done": carried.done,
            "said": carried.said,
        }
        for carried in carried_on(timezone.localdate())
    ]
    return JsonResponse({"tubs": tubs, "by": request.user.get_username()}, headers={"Cache-Control": "no-store"})


def round_tub(request: HttpRequest, number: int) -> HttpResponse:
    """One stop of the round."""
    tub = tub_or_404(number)
    sent = (request.POST, request.FILES) if request.method == "POST" else ()
    form = RoundForm(*sent, initial={"stage": request.GET.get("stage", "young")})
    shown = None
    if "save" in request.POST or "well" in request.POST:
        if answer := _save(request, tub, form):
            return answer
    elif form.is_valid():
        shown = _previewed(tub, form, request.user)
    status = REFUSED if form.is_bound and form.errors else 200
    return render(request, "cultures/round.html", _page(request, tub, form, shown), status=status)


def _previewed(tub: Culture, form: RoundForm, by: Any) -> Preview | None:
    stage, eye = form.cleaned_data["stage"] or "young", form.cleaned_data["eye"]
    try:
        return preview(tub, stage, "eye", eye_class(eye), by=by) if eye else None
    except ValidationError as refusal:
        show_refusal(form, refusal)
        return None


def _save(request: HttpRequest, tub: Culture, form: RoundForm) -> HttpResponse | None:
    def act(**how: Any) -> Recorded:
        visit = form.visit(tub, well="well" in request.POST)
        with photos.offered(form.cleaned_data["photo"], by=request.user) as offered:
            recorded = record_round([visit], happened_at=typed_at(request), photo=offered.photo, **how)
            return _about_tub(tub, with_fault(recorded, offered))

    return record(request, act, form, to=_onwards(round_of(timezone.localdate()), tub.number))


def _about_tub(tub: Culture, recorded: Recorded) -> Recorded:
    """Say in each warning which tub it is about: the next tub's page shows it."""
    return replace(recorded, breaks=tuple(f"Tub {tub.number}: {sentence}" for sentence in recorded.breaks))


def _onwards(today: Round, number: int) -> str:
    following = today.next_after(number)
    if following is None:
        return reverse("cultures:round_list")
    return reverse("cultures:round_tub", args=[following.number])


def _page(request: HttpRequest, tub: Culture, form: RoundForm, shown: Preview | None) -> dict[str, Any]:
    today = round_of(timezone.localdate())
    stage = (form["stage"].value() or "young") if tub.line.sold_by == Line.SoldBy.HEAD else "cups"
    book = book_of(tub)
    held = book.held(tub.pk, stage)
    return {
        "tub": tub,
        "line": tub.line,
        "form": form,
        "stage": stage,
        "by_head": tub.line.sold_by == Line.SoldBy.HEAD,
        "other_stage": "adults" if stage == "young" else "young",
        "working": entry_text.working_of(held, stage, timezone.localdate(), tub.line),
        "eye_choices": EYE_CHOICES,
        "chosen_eye": form["eye"].value() or "",
        "chosen_seen": form["seen"].value() or [],
        "seen_choices": SEEN_CHOICES,
        "typed": form.typed(),
        "more_open": any(form[name].value() for name in ("died", "note")) or bool(request.FILES),
        "photo_again": bool(request.FILES),
        "preview": shown,
        "on_round": today.place_of(tub.number) is not None,
        "is_done": today.is_done(tub.number),
        "wanted": plan_of_week(by=request.user).words_of(tub.pk, stage),
        "round": today,
        "before": today.before(tub.number),
        "skip_to": _onwards(today, tub.number),
    } | _last_of(request)


def _last_of(request: HttpRequest) -> dict[str, Any]:
    last = last_of(request.user)
    return {"last": last, "last_entry": entry_text.short_of(last) if last else ""}


@require_POST
def undo(request: HttpRequest, number: int) -> HttpResponse:
    """Take back an entry of a tub, and stay where the keeper was."""
    tub = tub_or_404(number)
    form = CorrectForm(request.POST)
    back = safe_next(request, tub_url(tub))

    def act(**how: Any) -> Recorded:
        if not form.is_valid():
            raise BadFact("This entry was not named. Open the tub and choose the entry again.")
        return correct_entry(form.cleaned_data["entry"], note=form.cleaned_data["note"], **how)

    done = f"Taken back in tub {tub.number}. The entry stays in the book, struck through."
    return record(request, act, done=done, to=back) or redirect(back)


def care(request: HttpRequest) -> HttpResponse:
    """Record what was done for a whole shelf."""
    names = shelves()
    form = CareForm(typed(request), shelves=names, initial={"shelf": request.GET.get("shelf")})

    def act(**how: Any) -> list[Recorded]:
        values = dict(form.cleaned_data)
        return care_for_shelf(values.pop("shelf"), values.pop("did"), **values, **how)

    def done(tubs: list[Recorded]) -> str:
        did = ", ".join(form.cleaned_data["did"]).capitalize()
        return f"{did}: {number_text(len(tubs), 'tubs')} of shelf {form.cleaned_data['shelf']}."

    answer = submit(request, act, form, done=done, to="cultures:care")
    return answer or page(request, "cultures/care.html", form=form, shelves=names)
