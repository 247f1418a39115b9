"""Two browsers edit the same row: the second to save is told what changed meanwhile, so nothing is lost in silence."""

from hashlib import sha256
from typing import Any

from django import forms
from django.core.exceptions import ValidationError
from django.db.models import Model

STAMP_LETTERS = 8
GONE = "This was removed from the book since you opened this page. Nothing was written."
CHANGED = (
    "‘%(label)s’ was changed since you opened this page; in the book it is now ‘%(now)s’. What you typed is still "
    "here: check it, and save again if you want to keep it."
)


class StampField(forms.CharField):
    """What the row held when its page was opened.

    Until it is compared it is shown as it was sent: a slip elsewhere on the page must not hide a change. From then on
    the row's own is shown, so that a second look counts.
    """

    widget = forms.HiddenInput
    is_compared = False

    def bound_data(self, data: Any, initial: Any) -> Any:
        return self.initial if self.is_compared else data

    def has_changed(self, initial: Any, data: Any) -> bool:
        return False


class ChangedMeanwhile(ValidationError):
    """A row was changed after its page was opened; the errors' `params` name `field`, `label` and what it is `now`."""


def fresh_row(row: Any, *_: Any, **__: Any) -> Any:
    """Return a row as it is now, locked: the lock of an action that is given a row. Raises ChangedMeanwhile."""
    fresh = type(row)._default_manager.select_for_update().filter(pk=row.pk).first()
    if fresh is None:
        raise ChangedMeanwhile(GONE)
    return fresh


class SeenForm(forms.BaseModelForm):
    """Mix in first: refuses to write over values that were changed since the page was opened.

    The form shows the stamp; `refuse_if_changed` compares it inside the action's transaction, after the lock.
    """

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        if self.instance.pk is None:
            return
        self.fields["seen"] = StampField(required=False)
        self._show(self.instance)

    def clean(self) -> dict[str, Any]:
        cleaned: dict[str, Any] = super().clean() or self.cleaned_data
        cleaned.pop("seen", None)
        return cleaned

    def refuse_if_changed(self) -> None:
        """Compare what the page showed with the row as it is now. Raises ChangedMeanwhile.

        Call it in the action's transaction, after its lock: the row is read anew, and stays locked on a server.
        """
        seen = self._seen()
        if not seen or self.instance._state.adding:
            return
        self._show(fresh_row(self.instance))
        self.fields["seen"].is_compared = True  # type: ignore[attr-defined]
        changed = [name for name, was in seen.items() if name in self._now and short(self._now[name]) != was]
        if changed:
            raise ChangedMeanwhile([self._changed(name) for name in changed])

    def _show(self, row: Model) -> None:
        """Take a row as what the page shows from now on, so that its stamp is that of the row."""
        field = row._meta.get_field
        self._now = {name: field(name).value_from_object(row) for name in self._stamped()}
        self.fields["seen"].initial = " ".join(f"{name}:{short(value)}" for name, value in self._now.items())

    def _stamped(self) -> list[str]:
        known = {field.name for field in self.instance._meta.concrete_fields}
        secret = forms.PasswordInput
        return [name for name, field in self.fields.items() if name in known and not isinstance(field.widget, secret)]

    def _seen(self) -> dict[str, str]:
        if "seen" not in self.fields:
            return {}
        sent = str(self.data.get(self.add_prefix("seen"), ""))
        return dict(part.split(":", 1) for part in sent.split() if ":" in part)

    def _changed(self, name: str) -> ValidationError:
        params = {"field": name, "label": str(self[name].label), "now": self._shown(name)}
        return ValidationError(CHANGED, code="changed_meanwhile", params=params)

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
