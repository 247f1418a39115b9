"""What the keeper does with the household's settings."""

from typing import Any

from breeder.base.action_frame import action
from breeder.base.models import Setting
from breeder.base.steps import log

# Never on the page as it is, so it is no part of what the page showed: untyped, it stays as the book has it now.
SECRET = "weather_key"


@action()
def save_settings(setting: Setting, changed: list[str], *, by: Any) -> Setting:
    """Keep the household's settings; the log says which were changed."""
    setting.pk = Setting.ONLY
    if setting._state.adding:
        setting.save()
    else:
        shown = {field.name for field in Setting._meta.concrete_fields if field.editable} - {SECRET}
        setting.save(update_fields=shown | ({SECRET} & set(changed)))
    if changed:
        log("settings changed", "settings", f"Changed: {', '.join(changed)}.", by=by)
    return setting
