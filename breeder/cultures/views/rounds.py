"""The count round on a phone: one screen a tub, one tap for a look, two for a guess by eye."""

from itertools import groupby
from typing import Any

from django.contrib import messages
from django.core.exceptions import ValidationError
from django.http import HttpRequest, HttpResponse, JsonResponse
from django.shortcuts import redirect, render
from django.urls import reverse
from django.utils import timezone
from django.views.decorators.http import require_POST, require_safe

from breeder.base import form_tokens, photos
from breeder.base.line_names import line_name
from breeder.base.offline_forms import typed_at
from breeder.cultures import actions, entry_text, forms, queries
from breeder.cultures.count_entry import eye_class
from breeder.cultures.count_preview import Preview, preview
from breeder.cultures.forms.counts import EYE_CHOICES
from breeder.cultures.forms.rounds import SEEN_CHOICES
from breeder.cultures.models import Culture
from breeder.cultures.queries.rounds import Round
from breeder.cultures.views.answers import REFUSED, safe_next, say, tub_or_404, with_fault, written
from breeder.species.models import Line


def start(request: HttpRequest) -> HttpResponse:
    """Go to the first tub that nobody looked into today; when all are done, say so."""
    stop = queries.round_of(timezone.localdate()).first_to_do()
    if stop is not None:
        return redirect("cultures:round_tub", number=stop.number)
    return overview(request)


def overview(request: HttpRequest) -> HttpResponse:
    """Show which tubs of the round are still to do, those that were skipped too, and which are done."""
    today = queries.round_of(timezone.localdate())
    by_shelf = [(shelf, list(stops)) for shelf, stops in groupby(today.stops, key=lambda stop: stop.shelf)]
    return render(request, "cultures/round_done.html", _last_of(request) | {"round": today, "shelves": by_shelf})


@require_safe
def carried(request: HttpRequest) -> HttpResponse:
    """Give the phone all tubs of the round, so that it can be walked on where nothing answers."""
    tubs = [
        {
            "number": one.tub.number,
            "shelf": one.tub.shelf,
            "name": line_name(one.tub.line),
            "byHead": one.by_head,
            "done": one.done,
            "said": one.said,
        }
        for one in queries.carried_on(timezone.localdate())
    ]
    return JsonResponse({"tubs": tubs, "by": request.user.get_username()}, headers={"Cache-Control": "no-store"})


def round_tub(request: HttpRequest, number: int) -> HttpResponse:
    """One stop of the round."""
    form_tokens.seen(request.POST.get("token", ""))
    tub = tub_or_404(number)
    sent = (request.POST, request.FILES) if request.method == "POST" else ()
    form = forms.RoundForm(*sent, initial={"stage": request.GET.get("stage", "young")})
    status, shown = 200, None
    if request.method == "POST" and not form.is_valid():
        status = REFUSED
    elif request.method == "POST":
        try:
            if "save" in request.POST or "well" in request.POST:
                return _save(request, tub, form)
            shown = _previewed(tub, form, request.user)
        except ValidationError as refusal:
            forms.show_refusal(form, refusal)
            status = REFUSED
    return render(request, "cultures/round.html", _page(request, tub, form, shown), status=status)


def _previewed(tub: Culture, form: forms.RoundForm, by: Any) -> Preview | None:
    eye = form.cleaned_data["eye"]
    return preview(tub, form.cleaned_data["stage"] or "young", "eye", eye_class(eye), by=by) if eye else None


def _save(request: HttpRequest, tub: Culture, form: forms.RoundForm) -> HttpResponse:
    answer = _onwards(queries.round_of(timezone.localdate()), tub.number)
    writing = {"by": request.user, "token": request.POST.get("token", ""), "answer": answer}
    visit = form.visit(tub, well="well" in request.POST)
    with photos.offered(form.cleaned_data["photo"], by=request.user) as offered:
        recorded = actions.record_round([visit], happened_at=typed_at(request), photo=offered.photo, **writing)
    for said in with_fault(recorded, offered).breaks:
        messages.warning(request, f"Tub {tub.number}: {said}")
    return written(answer, recorded)


def _onwards(today: Round, number: int) -> str:
    following = today.next_after(number)
    if following is None:
        return reverse("cultures:round_list")
    return reverse("cultures:round_tub", args=[following.number])


def _page(request: HttpRequest, tub: Culture, form: forms.RoundForm, shown: Preview | None) -> dict[str, Any]:
    today = queries.round_of(timezone.localdate())
    stage = (form["stage"].value() or "young") if tub.line.sold_by == Line.SoldBy.HEAD else "cups"
    book = queries.book_of(tub)
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
        "wanted": queries.plan_of_week(by=request.user).words_of(tub.pk, stage),
        "round": today,
        "before": today.before(tub.number),
        "skip_to": _onwards(today, tub.number),
    } | _last_of(request)


def _last_of(request: HttpRequest) -> dict[str, Any]:
    last = queries.last_of(request.user)
    return {"last": last, "last_said": entry_text.short_of(last) if last else ""}


@require_POST
def undo(request: HttpRequest, number: int) -> HttpResponse:
    """Take back an entry of a tub, and stay where the keeper was."""
    form_tokens.seen(request.POST.get("token", ""))
    tub = tub_or_404(number)
    form = forms.CorrectForm(request.POST)
    answer = safe_next(request, reverse("cultures:tub", args=[tub.number]))
    if not form.is_valid():
        messages.error(request, "This entry was not named. Open the tub and choose the entry again.")
        return redirect(answer)
    token, note = request.POST.get("token", ""), form.cleaned_data["note"]
    try:
        recorded = actions.correct_entry(
            form.cleaned_data["entry"], note=note, by=request.user, token=token, answer=answer
        )
    except ValidationError as refusal:
        form_tokens.seen(token)  # a double click is refused for what its first click did
        for sentence in refusal.messages:
            messages.error(request, sentence)
    else:
        say(request, f"Taken back in tub {tub.number}. The entry stays in the book, struck through.", recorded)
    return redirect(answer)


def care(request: HttpRequest) -> HttpResponse:
    """Record what was done for a whole shelf."""
    form_tokens.seen(request.POST.get("token", ""))
    names = queries.shelves()
    form = forms.CareForm(request.POST or None, shelves=names, initial={"shelf": request.GET.get("shelf")})
    if request.method == "POST" and form.is_valid():
        data = form.cleaned_data
        writing = {"by": request.user, "token": request.POST.get("token", "")}
        try:
            done = actions.care_for_shelf(
                data["shelf"], data["did"], happened_at=data["happened_at"], note=data["note"], **writing
            )
        except ValidationError as refusal:
            forms.show_refusal(form, refusal)
        else:
            many = "1 tub" if len(done) == 1 else f"{len(done)} tubs"
            messages.success(request, f"{', '.join(data['did']).capitalize()}: {many} of shelf {data['shelf']}.")
            return redirect("cultures:care")
    shown = {"form": form, "shelves": names}
    return render(request, "cultures/care.html", shown, status=REFUSED if form.is_bound else 200)
