"""The keeper's page of backups: make one, see what the last one holds, and take it away."""

from django.contrib import messages
from django.http import FileResponse, Http404, HttpRequest, HttpResponse
from django.shortcuts import redirect, render

from breeder.base import backups
from breeder.base.roles import keeper_only


@keeper_only
def backup(request: HttpRequest) -> HttpResponse:
    """Show the last backup, and have a new one made."""
    if request.method == "POST":
        backups.make_beside(request.user)  # type: ignore[arg-type]
        _say_outcome(request)
        return redirect("base:backup")
    shown = {"last": backups.last(), "newest": backups.newest(), "is_being_made": backups.is_being_made()}
    return render(request, "base/backup.html", shown)


def _say_outcome(request: HttpRequest) -> None:
    newest = backups.newest()
    if backups.is_being_made() or newest is None:
        messages.info(request, "The backup has started.")
    elif newest.failed:
        messages.error(request, "The backup failed. The reason is shown above.")
    else:
        messages.success(request, newest.sentence)


@keeper_only
def download(request: HttpRequest) -> FileResponse:
    """Send the last backup."""
    last = backups.last()
    if last is None:
        raise Http404("There is no backup yet.")
    return FileResponse(backups.path().open("rb"), as_attachment=True, filename=last.file_name)
