"""Reads of the household's own rows."""

from breeder.base.models import Setting


def household() -> Setting:
    """Return the household's settings; the defaults, unsaved, before the first keeper has set anything."""
    return Setting.objects.filter(pk=Setting.ONLY).first() or Setting()
