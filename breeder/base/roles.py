"""Roles: the keeper decides, the helper walks the round and packs."""

from collections.abc import Callable
from functools import wraps
from typing import Any

from django.core.exceptions import PermissionDenied
from django.http import HttpRequest, HttpResponse

KEEPER = "keeper"
HELPER = "helper"
ASKED = "_is_keeper"  # on the user of one request


def is_keeper(user: Any) -> bool:
    """Return whether this person may decide: agree orders, set prices and minimums, override the weather."""
    if not user.is_authenticated:
        return False
    # Asked once for each page: a list may ask again for every row.
    if not hasattr(user, ASKED):
        setattr(user, ASKED, user.is_superuser or user.groups.filter(name=KEEPER).exists())
    return bool(getattr(user, ASKED))


def keeper_only(view: Callable[..., HttpResponse]) -> Callable[..., HttpResponse]:
    """Let only the keeper in; a helper reads why."""

    @wraps(view)
    def guarded(request: HttpRequest, *args: Any, **kwargs: Any) -> HttpResponse:
        if not is_keeper(request.user):
            raise PermissionDenied("This page belongs to the keeper. Ask them to do this, or to change your role.")
        return view(request, *args, **kwargs)

    return guarded
