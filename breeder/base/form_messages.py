"""Forms that answer in whole sentences: each names the field, what was typed, and what to do about it."""

from typing import Any

from django import forms
from django.core.exceptions import NON_FIELD_ERRORS, ValidationError

SENTENCES = {
    "required": "‘%(label)s’ is empty. Fill it in.",
    "min_value": "‘%(label)s’ is %(typed)s; the smallest it can be is %(limit_value)s.",
    "max_value": "‘%(label)s’ is %(typed)s; the largest it can be is %(limit_value)s.",
    "max_length": "‘%(label)s’ has %(show_value)s letters and signs; %(limit_value)s fit. Shorten it.",
    "max_digits": "‘%(label)s’ is %(typed)s, which has too many digits. Check the value.",
    "max_whole_digits": "‘%(label)s’ is %(typed)s, which is far too large. Check the value.",
    "max_decimal_places": "‘%(label)s’ is %(typed)s; write it with at most %(max)s digits after the point.",
    "empty": "‘%(label)s’ holds nothing: the file is empty. Choose the one that was meant.",
    "invalid_choice": "‘%(label)s’ was sent as ‘%(typed)s’, which is not in the list. Choose one that is.",
    "null_characters_not_allowed": "‘%(label)s’ holds a sign that cannot be kept. Type it again instead of pasting it.",
}
UNREADABLE: tuple[tuple[type[forms.Field], str], ...] = (
    (forms.DecimalField, "is not a number. Write one such as 2.5"),
    (forms.FloatField, "is not a number. Write one such as 2.5"),
    (forms.IntegerField, "is not a whole number. Write one such as 12"),
    (forms.DateField, "is not a date. Write it as 2026-03-31"),
    (forms.TimeField, "is not a time. Write it as 16:30"),
    (forms.EmailField, "is not an e-mail address. Write one such as ada@example.org"),
)
LONGEST_SHOWN = 60


class PlainForm(forms.BaseForm):
    """Mix in first: turns the framework's short errors into sentences; errors with a code of their own stay."""

    def add_error(self, field: str | None, error: Any) -> None:
        if not isinstance(error, ValidationError):
            error = ValidationError(error)
        if hasattr(error, "error_dict"):
            for name, errors in error.error_dict.items():
                # What the form does not ask for by this name is told above the form; it must not bring the page down.
                self.add_error(name if name in self.fields else None, ValidationError(errors))
            return
        if field in self.fields:
            error = ValidationError([self._said(str(field), one) for one in error.error_list])
        super().add_error(field, error)

    def _said(self, name: str, error: ValidationError) -> ValidationError:
        sentence = SENTENCES.get(error.code or "") or self._unreadable(name, error)
        if not sentence:
            return error
        params = {"label": self.label_of(name), "typed": self.typed_in(name)} | (error.params or {})
        return ValidationError(sentence, code=error.code, params=params)

    def _unreadable(self, name: str, error: ValidationError) -> str:
        # Integer fields are number fields to Python, so the more particular kind is asked for first.
        kinds = sorted(UNREADABLE, key=lambda pair: len(pair[0].__mro__), reverse=True)
        if error.code != "invalid":
            return ""
        remedy = next((said for kind, said in kinds if isinstance(self.fields[name], kind)), "")
        return f"‘%(label)s’ is ‘%(typed)s’, which {remedy}." if remedy else ""

    def label_of(self, name: str) -> str:
        """Return what the keeper reads beside the field."""
        return str(self[name].label)

    def typed_in(self, name: str) -> str:
        """Return what was typed, short enough for a sentence."""
        typed = str(self[name].data or "").replace("\x00", "").strip()
        return typed if len(typed) <= LONGEST_SHOWN else f"{typed[:LONGEST_SHOWN]}…"


def show_refusal(form: forms.BaseForm, refusal: ValidationError) -> None:
    """Put a refusal beside the fields that it names, and above the form where the form has no such field."""
    if not hasattr(refusal, "error_dict"):
        form.add_error(None, refusal)
        return
    for name, errors in refusal.error_dict.items():
        known = name != NON_FIELD_ERRORS and name in form.fields
        form.add_error(name if known else None, ValidationError(errors))
