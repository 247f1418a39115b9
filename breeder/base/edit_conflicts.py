"""Two browsers edit the same row: the second to save is told what changed meanwhile, so nothing is lost in silence."""

from hashlib import sha256
from typing import Any

from django import forms
from django.core.exceptions import ValidationError

STAMP_LETTERS = 8


class StampField(forms.CharField):
    """What the row held when its page was opened; shown anew each time, so that a second look counts."""

    widget = forms.HiddenInput

    def bound_data(self, data: Any, initial: Any) -> Any:
        return initial

    def has_changed(self, initial: Any, data: Any) -> bool:
        return False


class SeenForm(forms.BaseModelForm):
    """Mix in first: refuses to write over values that were changed since the page was opened.

    It is a courtesy to people; rows are still guarded by the turn that their actions take.
    """

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        if self.instance.pk is None:
            return
        self._now = {name: self._value(name) for name in self._stamped()}
        stamp = " ".join(f"{name}:{short(value)}" for name, value in self._now.items())
        self.fields["seen"] = StampField(required=False, initial=stamp)

    def clean(self) -> dict[str, Any]:
        cleaned: dict[str, Any] = super().clean() or self.cleaned_data
        cleaned.pop("seen", None)
        for name, was in self._seen().items():
            if name in self._now and short(self._now[name]) != was:
                self.add_error(None, ValidationError(self._changed(name), code="changed_meanwhile"))
        return cleaned

    def _stamped(self) -> list[str]:
        known = {field.name for field in self.instance._meta.concrete_fields}
        secret = forms.PasswordInput
        return [name for name, field in self.fields.items() if name in known and not isinstance(field.widget, secret)]

    def _value(self, name: str) -> Any:
        return self.instance._meta.get_field(name).value_from_object(self.instance)

    def _seen(self) -> dict[str, str]:
        if "seen" not in self.fields:
            return {}
        sent = str(self.data.get(self.add_prefix("seen"), ""))
        return dict(part.split(":", 1) for part in sent.split() if ":" in part)

    def _changed(self, name: str) -> str:
        shown = self._shown(name)
        return (
            f"‘{self[name].label}’ was changed since you opened this page; in the book it is now "
            f"‘{shown}’. What you typed stands below: look at it, and save again if it is to be so."
        )

    def _shown(self, name: str) -> str:
        value = self.fields[name].prepare_value(self._now[name])
        choices = {str(key): label for key, label in getattr(self.fields[name], "choices", ())}
        if isinstance(value, bool):
            return "yes" if value else "no"
        parts = value if isinstance(value, list | tuple) else [value]
        return ", ".join(choices.get(str(part), str(part)) for part in parts if part not in (None, "")) or "empty"


def short(value: Any) -> str:
    """Return a few letters that tell whether a value is still the same."""
    return sha256(str(value).encode()).hexdigest()[:STAMP_LETTERS]
