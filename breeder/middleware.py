"""Small layers around every page: content policy, what is kept and compressed, the household's clock, repeats."""

import sys
from collections.abc import Callable
from datetime import timedelta
from http import HTTPStatus

from django.conf import settings
from django.contrib import messages
from django.core.exceptions import SuspiciousOperation
from django.db import DatabaseError
from django.http import (
    HttpRequest,
    HttpResponse,
    HttpResponseRedirect,
    JsonResponse,
    StreamingHttpResponse,
    UnreadablePostError,
)
from django.middleware.gzip import GZipMiddleware
from django.template.loader import render_to_string
from django.urls import Resolver404, resolve
from django.utils import timezone

from breeder.base import offline_forms
from breeder.base.form_tokens import AlreadyDone, SentOtherwise, look_at
from breeder.base.machine_faults import trouble_of
from breeder.base.queries import household

Answer = Callable[[HttpRequest], HttpResponse]


class ContentSecurityPolicy:
    """Send the policy of settings.SECURE_CSP (the name Django 6 uses) with every answer."""

    def __init__(self, get_response: Answer) -> None:
        self.get_response = get_response
        self.policy = "; ".join(f"{name} {' '.join(values)}" for name, values in settings.SECURE_CSP.items())

    def __call__(self, request: HttpRequest) -> HttpResponse:
        response = self.get_response(request)
        response.headers.setdefault("Content-Security-Policy", self.policy)
        return response


class HeadersOnly:
    """Answer HEAD by the headers that GET would get, without a body (RFC 9110, 9.3.2)."""

    def __init__(self, get_response: Answer) -> None:
        self.get_response = get_response

    def __call__(self, request: HttpRequest) -> HttpResponse:
        response = self.get_response(request)
        if request.method != "HEAD":
            return response
        if isinstance(response, StreamingHttpResponse):
            response.streaming_content = []
        else:
            response.headers["Content-Length"] = str(len(response.content))
            response.content = b""
        return response


class CompressedText(GZipMiddleware):
    """Compress text; photos, papers and backups are compressed by themselves, and a part of a file stays a part.

    BREACH guesses a secret by the lengths of compressed pages. Against it Django adds up to 100 random bytes to each of
    them, and masks the token of a form anew for each page.
    """

    KINDS = ("text/", "application/json", "application/javascript", "image/svg+xml")

    def process_response(self, request: HttpRequest, response: HttpResponse) -> HttpResponse:
        is_text = response.headers.get("Content-Type", "").startswith(self.KINDS)
        return super().process_response(request, response) if is_text and "Content-Range" not in response else response


class PrivatePages:
    """Let no server in between, and no browser after logging out, keep what was shown to somebody who is logged in."""

    def __init__(self, get_response: Answer) -> None:
        self.get_response = get_response

    def __call__(self, request: HttpRequest) -> HttpResponse:
        was_inside = request.user.is_authenticated  # logging out is an answer to somebody who was
        response = self.get_response(request)
        if was_inside or request.user.is_authenticated:
            response.headers["Cache-Control"] = "private, no-store"
        return response


class HouseholdTime:
    """Show times in the household's zone, whatever the server's clock is set to."""

    def __init__(self, get_response: Answer) -> None:
        self.get_response = get_response

    def __call__(self, request: HttpRequest) -> HttpResponse:
        request.household = household()  # type: ignore[attr-defined]
        with timezone.override(request.household.zone):  # type: ignore[attr-defined]
            return self.get_response(request)


DOUBLE_CLICK = timedelta(seconds=10)
SENT_BEFORE = (
    "This form was sent before, so nothing was written this time. If you typed something else in it since, open its "
    "page anew and send it from there."
)


class RepeatedAnswer:
    """Give a form that is sent twice the answer that its first sending got.

    A second click may pass the first look at its token, and then be refused for what the first click has written
    meanwhile, by whatever rule, form or unique column comes first. So every refusal looks at the token once more.
    """

    def __init__(self, get_response: Answer) -> None:
        self.get_response = get_response

    def __call__(self, request: HttpRequest) -> HttpResponse:
        response = self.get_response(request)
        if response.status_code >= HTTPStatus.BAD_REQUEST:
            return _first_answer(request) or response
        return response

    def process_exception(self, request: HttpRequest, exception: Exception) -> HttpResponse | None:
        return _repeat(request, exception) if isinstance(exception, AlreadyDone) else _first_answer(request)


def _first_answer(request: HttpRequest) -> HttpResponse | None:
    """Return the answer that this form got when it was sent before; None if it was not, or the book cannot be read."""
    try:
        look_at(request)
    except AlreadyDone as done:
        return _repeat(request, done)
    except (SentOtherwise, DatabaseError, SuspiciousOperation, UnreadablePostError):
        return None
    return None


def _repeat(request: HttpRequest, done: AlreadyDone) -> HttpResponse:
    # Where the book does not know what was typed, somebody who typed something else must not take it for written.
    late = timezone.now() - done.at > DOUBLE_CLICK
    if late and not done.is_same and offline_forms.HEADER not in request.headers:
        messages.warning(request, SENT_BEFORE)
    return HttpResponseRedirect(done.answer)


class PageOfAForm:
    """Lead to the page above where an address only takes a form: a phone that threw a tab away asks for it anew."""

    def __init__(self, get_response: Answer) -> None:
        self.get_response = get_response

    def __call__(self, request: HttpRequest) -> HttpResponse:
        response = self.get_response(request)
        if response.status_code == HTTPStatus.METHOD_NOT_ALLOWED and request.method in ("GET", "HEAD"):
            return HttpResponseRedirect(_page_above(request.path))
        return response


def _page_above(path: str) -> str:
    while path != "/":
        path = path.rstrip("/").rpartition("/")[0] + "/"
        try:
            resolve(path)
        except Resolver404:
            continue
        return path
    return path


class Troubles:
    """Say what is wrong with the machine, what is safe and what to do, where a page could not be finished for that."""

    def __init__(self, get_response: Answer) -> None:
        self.get_response = get_response

    def __call__(self, request: HttpRequest) -> HttpResponse:
        return self.get_response(request)

    def process_exception(self, request: HttpRequest, exception: Exception) -> HttpResponse | None:
        return _told(exception)


def server_error(request: HttpRequest) -> HttpResponse:
    """Answer a fault outside of the pages, such as an upload or a log-in that finds no room on the disk.

    The action may have been done before: then its answer is given, as to any second sending.
    """
    if done := _first_answer(request):
        return done
    fault = sys.exc_info()[1]
    return (_told(fault) if fault else None) or HttpResponse(render_to_string("500.html"), status=500)


def _told(fault: BaseException) -> HttpResponse | None:
    trouble = trouble_of(fault)
    if trouble is None:
        return None
    page = render_to_string("503.html", {"heading": trouble.heading, "safe": trouble.safe, "remedy": trouble.remedy})
    return HttpResponse(page, status=HTTPStatus.SERVICE_UNAVAILABLE, headers={"Retry-After": "60"})


class AnswerToPhone:
    """Answer the script that sends what a phone kept; what another person typed waits for that person."""

    def __init__(self, get_response: Answer) -> None:
        self.get_response = get_response

    def __call__(self, request: HttpRequest) -> HttpResponse:
        if offline_forms.HEADER not in request.headers:
            return self.get_response(request)
        if typed_by := offline_forms.not_by(request):
            return JsonResponse({"typed_by": typed_by}, status=offline_forms.NOT_YOURS)
        return offline_forms.answer(request, self.get_response(request))
