"""What the room's pages share: finding the tub, showing a form again, and saying what a fact broke."""

from collections.abc import Callable
from dataclasses import replace
from typing import Any
from urllib.parse import urlsplit

from django.contrib import messages
from django.core.exceptions import ValidationError
from django.forms import BaseForm
from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.urls import reverse

from breeder.base.form_messages import show_refusal
from breeder.base.offline_forms import ENTRY
from breeder.base.photos import Offered
from breeder.cultures.actions.line_lock import Recorded
from breeder.cultures.models import Culture
from breeder.cultures.queries.tubs import tub_by_number

REFUSED = 422  # the form is shown again with what was typed; nothing was written


def tub_or_404(number: int) -> Culture:
    """Return the tub with this number."""
    tub = tub_by_number(number)
    if tub is None:
        raise Http404(f"There is no tub {number} in the book.")
    return tub


def tub_url(tub: Culture) -> str:
    """Return the address of a tub's page."""
    return reverse("cultures:tub", args=[tub.number])


def say(request: HttpRequest, done: str, recorded: Recorded) -> None:
    """Say what was done, and what it broke."""
    messages.success(request, done)
    for broken in recorded.breaks:
        messages.warning(request, broken)


def written(answer: str, recorded: Recorded) -> HttpResponse:
    """Go on to `answer`, and tell a script which row was written."""
    response = redirect(answer)
    response.headers[ENTRY] = str(recorded.entry.pk)
    return response


def with_fault(recorded: Recorded, offered: Offered) -> Recorded:
    """Add to what a fact broke why its photo could not be kept."""
    return replace(recorded, breaks=(*recorded.breaks, offered.fault)) if offered.fault else recorded


def form_page(
    request: HttpRequest,
    form: BaseForm,
    shown: dict[str, Any],
    act: Callable[[Any, str], Recorded],
    *,
    done: str | Callable[[Recorded], str],
    answer: str | Callable[[Recorded], str],
) -> HttpResponse:
    """Show a form; when it was sent and is sound, do it and go to `answer`. A refusal is put on the form.

    `act` gets the form's cleaned values and the one-time token. `done` and `answer` may be told from what was recorded.
    """
    if request.method == "POST" and form.is_valid():
        try:
            recorded = act(form.cleaned_data, request.POST.get("token", ""))
        except ValidationError as refusal:
            show_refusal(form, refusal)
        else:
            say(request, done if isinstance(done, str) else done(recorded), recorded)
            return written(answer if isinstance(answer, str) else answer(recorded), recorded)
    status = REFUSED if form.is_bound else 200
    return render(request, "cultures/form.html", {"form": form, **shown}, status=status)


def safe_next(request: HttpRequest, otherwise: str) -> str:
    """Return where a form asked to go on to, if that is a page of this site."""
    wanted = request.POST.get("next", "")
    parts = urlsplit(wanted)
    ours = not parts.scheme and not parts.netloc and wanted.startswith("/") and not wanted.startswith(("//", "/\\"))
    return wanted if ours else otherwise
