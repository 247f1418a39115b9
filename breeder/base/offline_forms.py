"""Forms that a phone kept while nothing answered: when they were typed, and an answer that its script can read."""

from datetime import UTC, datetime, timedelta
from typing import Any

from django.conf import settings
from django.contrib.messages import get_messages
from django.core.exceptions import ValidationError
from django.http import HttpRequest, HttpResponse, JsonResponse
from django.shortcuts import resolve_url
from django.utils import timezone
from django.utils.crypto import salted_hmac

HEADER = "X-Kept"  # sent by the script: "now" while the keeper waits for the answer, "later" in the background
ENTRY = "X-Entry"  # the row that a form wrote, so that the script can offer to take it back
OLDEST = timedelta(days=31)  # a phone left in a drawer for longer is asked for the day; common practice, no source
CLOCK_SLACK = timedelta(minutes=5)  # between two clocks on one network; common practice, no source
LOGIN_FIRST, NOT_YOURS = 401, 409
STAMPS = ("typed_at", "age_s", "kept_by")  # what the script adds to the fields of a form


class TooOld(ValidationError):
    """A kept form was typed so long ago that its time is no longer to be trusted."""


BOOK_MARK_SALT = "breeder.pages.kept"  # phones hold forms under this mark for a month: it never changes


def book_mark() -> str:
    """Return a mark of this book, so that a phone sends what it kept to no other book at the same address."""
    return salted_hmac(BOOK_MARK_SALT, "book").hexdigest()[:12]


def typed_at(request: HttpRequest) -> datetime | None:
    """Return when a kept form was typed; None for one that is sent as it is typed. Raises TooOld.

    The phone tells the moment by this server's clock, as far as it learnt that from an earlier answer, and how many
    seconds ago that was by its own. The first is taken where it can be true; a phone's clock may be wrong by hours.
    """
    now = timezone.now()
    told, age = _number(request.POST.get("typed_at")), _number(request.POST.get("age_s"))
    if told is None and age is None:
        return None
    oldest, newest = (now - OLDEST).timestamp(), (now + CLOCK_SLACK).timestamp()
    if told is None or not oldest <= told <= newest:
        told = now.timestamp() - max(0.0, age or 0.0)
    if told < oldest:
        days = round((now.timestamp() - told) / timedelta(days=1).total_seconds())
        raise TooOld(
            f"This was typed {days} days ago by the phone's clock, and at most {OLDEST.days} days can be. "
            "Write it again on the tub's page, with the day it happened."
        )
    return min(now, datetime.fromtimestamp(told, UTC))


def is_sent_later(request: HttpRequest) -> bool:
    """Return whether a form was kept on a phone first, so that nothing could be shown before it was saved."""
    return request.headers.get(HEADER) == "later"


def _number(text: str | None) -> float | None:
    try:
        number = float(text) if text else None
    except ValueError:
        return None
    return number if number is not None and abs(number) < 1e12 else None


def not_by(request: HttpRequest) -> str:
    """Return who typed a kept form, if that is somebody else than who is logged in now; else nothing."""
    typed_by = request.POST.get("kept_by", "")
    user = getattr(request, "user", None)
    return typed_by if user and user.is_authenticated and typed_by != user.get_username() else ""


def answer(request: HttpRequest, response: HttpResponse) -> HttpResponse:
    """Turn what a page answered into what the script needs: where to go on and what was said, or who must log in."""
    if response.status_code != 302:
        return response
    target = response.headers["Location"]
    if target.split("?")[0] == resolve_url(settings.LOGIN_URL):
        return JsonResponse({"login": target}, status=LOGIN_FIRST)
    told: dict[str, Any] = {"answer": target, "entry": response.headers.get(ENTRY)}
    if is_sent_later(request):
        told["said"] = [{"kind": said.level_tag, "text": str(said)} for said in get_messages(request)]
    return JsonResponse(told)
