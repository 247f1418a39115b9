"""What the keeper does with the household's settings."""

from typing import Any

from django.db import transaction

from breeder.base.models import Setting
from breeder.base.steps import log


def save_settings(setting: Setting, changed: list[str], *, by: Any) -> Setting:
    """Keep the household's settings; the log says which were changed."""
    with transaction.atomic(durable=True):
        setting.pk = Setting.ONLY
        setting.save()
        if changed:
            log("settings changed", "settings", f"Changed: {', '.join(changed)}.", by=by)
    return setting
