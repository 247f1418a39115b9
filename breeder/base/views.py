"""The book's own pages: where everything is, settings, the log, photos."""

import mimetypes

from django.conf import settings as site
from django.core.exceptions import DisallowedHost
from django.core.paginator import Paginator
from django.http import FileResponse, Http404, HttpRequest, HttpResponse
from django.http.request import split_domain_port
from django.shortcuts import get_object_or_404, render
from django.template.loader import render_to_string

from breeder.base import actions, addresses
from breeder.base.forms import SettingForm
from breeder.base.models import LogRow, Photo
from breeder.base.queries import household
from breeder.base.roles import keeper_only
from breeder.base.submit import page, submit

NOT_UNDERSTOOD = 400
ROWS_A_PAGE = 60
LONGEST_HOST = 253  # RFC 1035


def book(request: HttpRequest) -> HttpResponse:
    """Lead to everything that is not done every day."""
    return render(request, "base/book.html")


@keeper_only
def settings(request: HttpRequest) -> HttpResponse:
    """Show and change the household's settings."""
    form = SettingForm(request.POST or None, instance=household())
    answer = submit(
        request,
        lambda **how: actions.save_settings(form.save(commit=False), form.changed_data, **how),
        form,
        to="base:settings",
        done="The settings are kept.",
    )
    address = addresses.phone_address(request.scheme or "http", request.get_host(), site.ALLOWED_HOSTS)
    return answer or page(request, "base/settings.html", form=form, phone_address=address)


@keeper_only
def log(request: HttpRequest) -> HttpResponse:
    """Show who did what, newest first."""
    pages = Paginator(LogRow.objects.select_related("by"), ROWS_A_PAGE)
    return render(request, "base/log.html", {"rows": pages.get_page(request.GET.get("page"))})


def photo(request: HttpRequest, pk: int) -> FileResponse:
    """Send a photo to somebody who is logged in."""
    kept = get_object_or_404(Photo, pk=pk)
    try:
        file = kept.file.open("rb")
    except OSError:  # as when the rows were carried over without the folder of photos
        raise Http404("The file of this photo is not in the folder of photos.") from None
    kind = mimetypes.guess_type(kept.file.name)[0] or "application/octet-stream"
    return FileResponse(file, content_type=kind)


def bad_request(request: HttpRequest, exception: Exception | None = None) -> HttpResponse:
    """Say what was not understood; to whoever calls the book by a name it does not know, what to set."""
    if not isinstance(exception, DisallowedHost):
        return HttpResponse(render_to_string("400.html"), status=NOT_UNDERSTOOD)
    # Nothing of the book is on this page: neither its settings nor its other names.
    host = split_domain_port(request.META.get("HTTP_HOST", ""))[0][:LONGEST_HOST]
    said = {"host": host, "hosts": addresses.USUAL_HOSTS}
    return HttpResponse(render_to_string("400_host.html", said), status=NOT_UNDERSTOOD)
