"""What the room's pages share: finding the tub, recording what a form says, and telling what that breaks."""

from collections.abc import Callable
from dataclasses import replace
from typing import Any
from urllib.parse import urlsplit

from django.contrib import messages
from django.forms import BaseForm
from django.http import Http404, HttpRequest, HttpResponse
from django.urls import reverse

from breeder.base.offline_forms import ENTRY
from breeder.base.photos import Offered
from breeder.base.submit import Done, page, submit
from breeder.cultures.actions.line_lock import Recorded
from breeder.cultures.models import Culture
from breeder.cultures.queries.tubs import tub_by_number


def tub_or_404(number: int) -> Culture:
    """Return the tub with this number."""
    tub = tub_by_number(number)
    if tub is None:
        raise Http404(f"There is no tub {number} in the book.")
    return tub


def tub_url(tub: Culture) -> str:
    """Return the address of a tub's page."""
    return reverse("cultures:tub", args=[tub.number])


def record(request: HttpRequest, act: Callable[..., Recorded], *forms: BaseForm, **way: Any) -> Done | None:
    """Submit a form that writes an entry: warn of what that breaks, and tell a script which row was written."""
    answer = submit(request, act, *forms, **way)
    if answer:
        for sentence in answer.result.breaks:
            messages.warning(request, sentence)
        answer.headers[ENTRY] = str(answer.result.entry.pk)
    return answer


def form_page(
    request: HttpRequest, form: BaseForm, act: Callable[..., Recorded], *, done: Any, to: Any, **shown: Any
) -> HttpResponse:
    """Show a form on a page of its own, or record what it says and go on."""
    answer = record(request, act, form, done=done, to=to)
    return answer or page(request, "cultures/form.html", form=form, **shown)


def with_fault(recorded: Recorded, offered: Offered) -> Recorded:
    """Add to what a fact broke why its photo could not be kept."""
    return replace(recorded, breaks=(*recorded.breaks, offered.fault)) if offered.fault else recorded


def safe_next(request: HttpRequest, otherwise: str) -> str:
    """Return where a form asked to go on to, if that is a page of this site."""
    wanted = request.POST.get("next", "")
    parts = urlsplit(wanted)
    ours = not parts.scheme and not parts.netloc and wanted.startswith("/") and not wanted.startswith(("//", "/\\"))
    return wanted if ours else otherwise
