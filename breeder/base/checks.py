"""Start-up checks: settings under which the promises of the stock book would not hold are refused."""

from typing import Any

from django.conf import settings
from django.core.checks import CheckMessage, Error, Tags, register

from breeder.base.environment import SQLITE_OPTIONS


@register(Tags.database)
def database_keeps_promises(app_configs: Any = None, **kwargs: Any) -> list[CheckMessage]:
    """Refuse database options under which two hands could be promised the same animals."""
    return faults_of(settings.DATABASES["default"])


def faults_of(database: dict[str, Any]) -> list[CheckMessage]:
    """Return what is wrong with these database settings, as errors that stop every command."""
    found: list[CheckMessage] = []
    if database.get("ATOMIC_REQUESTS"):
        found.append(Error("ATOMIC_REQUESTS must stay off: an action opens its own transaction.", id="breeder.E001"))
    if "sqlite" not in database["ENGINE"]:
        return found
    for name, wanted in SQLITE_OPTIONS.items():
        if database.get("OPTIONS", {}).get(name) != wanted:
            found.append(
                Error(
                    f"The SQLite option '{name}' must be {wanted!r}: without it the same animals could be "
                    "promised twice, or an entry lost when the power fails.",
                    id="breeder.E002",
                )
            )
    return found
