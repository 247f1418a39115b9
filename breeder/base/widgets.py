"""Fields drawn without a template of their own: a page of a big book holds hundreds of them."""

from typing import Any

from django import forms
from django.forms.renderers import BaseRenderer
from django.forms.utils import flatatt
from django.utils.html import format_html, format_html_join
from django.utils.safestring import SafeString


class LeanSelect(forms.Select):
    """A choice of one, out of choices that are in no groups."""

    def render(self, name: str, value: Any, attrs: Any = None, renderer: BaseRenderer | None = None) -> SafeString:
        """Return the same element as Django's own, without a template for each option."""
        chosen = set(self.format_value(value))
        options = format_html_join(
            "",
            '<option value="{}"{}>{}</option>',
            ((key, flatatt({"selected": str(key) in chosen}), label) for key, label in self.choices),
        )
        return format_html('<select name="{}"{}>{}</select>', name, _drawn(self, attrs), options)


class LeanInput(forms.TextInput):
    """A line to type in."""

    def render(self, name: str, value: Any, attrs: Any = None, renderer: BaseRenderer | None = None) -> SafeString:
        """Return the same element as Django's own."""
        typed = self.format_value(value)
        shown = flatatt({} if typed is None else {"value": typed})
        return format_html('<input type="{}" name="{}"{}{}>', self.input_type, name, shown, _drawn(self, attrs))


class LeanNumberInput(LeanInput):
    """A number to type in."""

    input_type = "number"


def _drawn(widget: forms.Widget, attrs: Any) -> SafeString:
    given = widget.build_attrs(widget.attrs, attrs)
    return flatatt({name: value for name, value in given.items() if value is not None})
