"""The book's own pages: where everything is, settings, the log, photos."""

import mimetypes

from django.contrib import messages
from django.core.paginator import Paginator
from django.http import FileResponse, Http404, HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render

from breeder.house import actions, allowances
from breeder.house.forms import SettingForm
from breeder.house.models import LogRow, Photo
from breeder.house.queries import household
from breeder.house.roles import keeper_only

REFUSED = 422
ROWS_A_PAGE = 60


def book(request: HttpRequest) -> HttpResponse:
    """Lead to everything that is not done every day."""
    return render(request, "house/book.html")


@keeper_only
def settings(request: HttpRequest) -> HttpResponse:
    """Show and change the household's settings."""
    form = SettingForm(request.POST or None, instance=household())
    if request.method == "POST" and form.is_valid():
        actions.save_settings(form.save(commit=False), form.changed_data, by=request.user)
        messages.success(request, "The settings are kept.")
        return redirect("house:settings")
    context = {"form": form, "allowances": allowances.rows()}
    return render(request, "house/settings.html", context, status=REFUSED if request.method == "POST" else 200)


@keeper_only
def log(request: HttpRequest) -> HttpResponse:
    """Show who did what, newest first."""
    pages = Paginator(LogRow.objects.select_related("by"), ROWS_A_PAGE)
    return render(request, "house/log.html", {"rows": pages.get_page(request.GET.get("page"))})


def photo(request: HttpRequest, pk: int) -> FileResponse:
    """Send a photo to somebody who is logged in."""
    kept = get_object_or_404(Photo, pk=pk)
    try:
        file = kept.file.open("rb")
    except OSError:  # as when the rows were carried over without the folder of photos
        raise Http404("The file of this photo is not in the folder of photos.") from None
    kind = mimetypes.guess_type(kept.file.name)[0] or "application/octet-stream"
    return FileResponse(file, content_type=kind)
