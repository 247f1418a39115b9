"""The page of a crash: one action keeps the tub out of sale; then what left it, its sisters, and what to tell whom."""

from typing import Any

from django.contrib import messages
from django.core.exceptions import ValidationError
from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.urls import reverse
from django.utils import timezone
from django.views.decorators.http import require_POST

from breeder.base import form_tokens
from breeder.base.queries import household
from breeder.base.roles import is_keeper, keeper_only
from breeder.cultures import actions, forms
from breeder.cultures.models import Culture
from breeder.cultures.queries import tub_by_number
from breeder.orders import queries

REFUSED = 422


def crash(request: HttpRequest, number: int) -> HttpResponse:
    """Mark a tub as crashed; show the keeper what there is to know and to do about it, since it names people."""
    form_tokens.seen(request.POST.get("token", ""))
    tub = _tub_or_404(number)
    if tub.crashed_on and request.method != "POST":
        if not is_keeper(request.user):
            return redirect("cultures:tub", number=number)
        return _crash_page(request, tub, forms.EndCrashForm())
    form = forms.CrashForm(request.POST or None)
    if request.method == "POST" and form.is_valid():
        try:
            recorded = actions.mark_crashed(tub.pk, **form.cleaned_data, **_sent(request, tub))
        except ValidationError as refusal:
            forms.show_refusal(form, refusal)
        else:
            tell = "" if is_keeper(request.user) else " Tell the keeper: people may have to be told."
            return _said(request, tub, f"Tub {number} is marked as crashed and is not for sale.{tell}", recorded)
    status = REFUSED if form.is_bound else 200
    return render(request, "orders/crash_form.html", {"form": form, "tub": tub, "line": tub.line}, status=status)


@keeper_only
@require_POST
def crash_over(request: HttpRequest, number: int) -> HttpResponse:
    """Let a tub that crashed give again."""
    form_tokens.seen(request.POST.get("token", ""))
    tub = _tub_or_404(number)
    form = forms.EndCrashForm(request.POST)
    if form.is_valid():
        try:
            answer = reverse("cultures:tub", args=[number])
            sent = _sent(request, tub) | {"answer": answer}
            recorded = actions.end_crash(tub.pk, form.cleaned_data["reason"], **sent)
        except ValidationError as refusal:
            forms.show_refusal(form, refusal)
        else:
            _say(request, f"Tub {number} is no longer marked as crashed.", recorded)
            return redirect(answer)
    return _crash_page(request, tub, form, status=REFUSED)


@keeper_only
@require_POST
def crash_sister(request: HttpRequest, number: int, sister: int) -> HttpResponse:
    """Put a sister in quarantine, or keep it out of what is sold; one tap."""
    form_tokens.seen(request.POST.get("token", ""))
    tub, other = _tub_or_404(number), _tub_or_404(sister)
    quarantine = "quarantine" in request.POST
    try:
        recorded = actions.set_sister_apart(other.pk, tub.pk, quarantine=quarantine, **_sent(request, tub))
    except ValidationError as refusal:
        form_tokens.seen(request.POST.get("token", ""))  # a double click is refused for what its first click did
        for sentence in refusal.messages:
            messages.error(request, sentence)
        return redirect("orders:crash", number=number)
    done = "in quarantine" if quarantine else "not for sale"
    return _said(request, tub, f"Tub {sister} is {done}.", recorded)


def _sent(request: HttpRequest, tub: Culture) -> dict[str, Any]:
    return {"by": request.user, "token": request.POST.get("token", ""), "answer": _page_after(request, tub)}


def _said(request: HttpRequest, tub: Culture, done: str, recorded: actions.Recorded) -> HttpResponse:
    _say(request, done, recorded)
    return redirect(_page_after(request, tub))


def _page_after(request: HttpRequest, tub: Culture) -> str:
    return reverse("orders:crash" if is_keeper(request.user) else "cultures:tub", args=[tub.number])


def _say(request: HttpRequest, done: str, recorded: actions.Recorded) -> None:
    messages.success(request, done)
    for broken in recorded.breaks:
        messages.warning(request, broken)


def _crash_page(request: HttpRequest, tub: Culture, form: Any, status: int = 200) -> HttpResponse:
    facts = queries.crash_of(tub, household().trade_name, timezone.now())
    page = {"tub": tub, "line": tub.line, "crash": facts, "form": form}
    return render(request, "orders/crash.html", page, status=status)


def _tub_or_404(number: int) -> Culture:
    tub = tub_by_number(number)
    if tub is None:
        raise Http404(f"There is no tub {number} in the book.")
    return tub
