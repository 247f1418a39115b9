"""What every template may use."""

from typing import Any

from django.http import HttpRequest

from breeder.base import offline_forms
from breeder.base.queries import household as read_household
from breeder.base.roles import is_keeper


def household(request: HttpRequest) -> dict[str, Any]:
    """Give templates the household's settings and whether the reader is the keeper."""
    settings = getattr(request, "household", None) or read_household()
    user = getattr(request, "user", None)
    return {"household": settings, "is_keeper": bool(user) and is_keeper(user), "book_mark": offline_forms.book_mark}
