"""Inner parts of actions: writing the log."""

from typing import Any

from django.contrib.auth.models import AbstractBaseUser
from django.utils import timezone

from breeder.house.models import LogRow


def log(
    did: str,
    about: str,
    sentence: str,
    *,
    by: AbstractBaseUser | None,
    reason: str = "",
    facts: dict[str, Any] | None = None,
) -> LogRow:
    """Write one row of the log inside the caller's transaction."""
    return LogRow.objects.create(
        at=timezone.now(), by=by, did=did, about=about[:120], sentence=sentence, reason=reason, facts=facts or {}
    )
