"""Form fields that several rooms use."""

import re
from decimal import Decimal
from typing import Any

from django import forms
from django.core.exceptions import ValidationError
from django.utils.html import format_html, format_html_join

from breeder.base.postcodes import AREAS, fault_of_zone, to_hundredth, zone_named, zone_names

HUNDRED = Decimal(100)
HALF_ROUND = 180  # degrees; more is no place, and is told so by whoever knows which of the two it is


class MoneyField(forms.DecimalField):
    """An amount of money of two decimals, typed with a point or a comma before them."""

    def __init__(self, **kwargs: Any) -> None:
        super().__init__(max_digits=8, decimal_places=2, **kwargs)

    def to_python(self, value: Any) -> Decimal | None:
        if isinstance(value, str) and "," in value:
            return super().to_python(self._with_point(value.strip()))
        return super().to_python(value)

    def _with_point(self, typed: str) -> str:
        if re.fullmatch(r"-?\d+,\d{1,2}", typed):
            return typed.replace(",", ".")
        if re.fullmatch(r"-?\d{1,3}(,\d{3})+(\.\d{1,2})?", typed):
            plain = typed.replace(",", "")
            raise ValidationError(
                f"‘{self.label}’ is ‘{typed}’, and the comma can be read in two ways. Write {plain} without it.",
                code="two_readings",
            )
        return typed


class CoordinateField(forms.DecimalField):
    """Degrees of latitude or longitude with as many digits as a map gives; kept to 0.01, so that no doorstep is."""

    def to_python(self, value: Any) -> Decimal | None:
        typed = super().to_python(value.replace("\u2212", "-").replace(",", ".") if isinstance(value, str) else value)
        if typed is None or not typed.is_finite() or abs(typed) > HALF_ROUND:
            return typed
        return to_hundredth(typed)


class ZoneInput(forms.TextInput):
    """A text field that offers the names of the zone database while it is typed in."""

    def render(self, name: str, value: Any, attrs: dict[str, Any] | None = None, renderer: Any = None) -> str:
        names = f"{(attrs or {}).get('id', name)}_zones"
        field = super().render(name, value, (attrs or {}) | {"list": names, "autocomplete": "off"}, renderer)
        zones = sorted(zone for zone in zone_names() if zone.partition("/")[0] in AREAS and "/" in zone)
        options = format_html_join("", '<option value="{}">', ((zone,) for zone in zones))
        return format_html('{}<datalist id="{}">{}</datalist>', field, names, options)


class ZoneField(forms.CharField):
    """A time zone by its name in the zone database, typed in any case."""

    widget = ZoneInput

    def __init__(self, **kwargs: Any) -> None:
        super().__init__(max_length=60, **kwargs)

    def clean(self, value: Any) -> str:
        typed = zone_named(super().clean(value))
        if typed and (fault := fault_of_zone(typed)):
            raise ValidationError(fault, code="unknown_zone")
        return typed


class PercentField(forms.DecimalField):
    """A share typed as a percentage (20) and cleaned to a share (0.20) of `places` digits."""

    def __init__(self, *, low: int = 0, high: int = 100, places: int = 2, **kwargs: Any) -> None:
        super().__init__(**kwargs)
        self.low, self.high, self.digits = low, high, Decimal(1).scaleb(-places)

    def prepare_value(self, value: Any) -> Any:
        """Show a stored share as a percentage; leave what was typed as it was typed."""
        if value is None or isinstance(value, str):
            return value
        return f"{Decimal(str(value)) * HUNDRED:f}".rstrip("0").rstrip(".") if value else "0"

    def to_python(self, value: Any) -> Decimal | None:
        typed = super().to_python(value.replace("%", "").replace(",", ".") if isinstance(value, str) else value)
        if typed is None or not typed.is_finite():
            return typed
        if not self.low <= typed <= self.high:
            raise ValidationError(
                f"‘{self.label}’ is {typed:g} %; it lies between {self.low} and {self.high} %. "
                "Write 20 for twenty in a hundred.",
                code="not_a_share",
            )
        return (typed / HUNDRED).quantize(self.digits)

    def has_changed(self, initial: Any, data: Any) -> bool:
        """Compare the shares, not how they were written."""
        try:
            return self.to_python(data) != (None if initial is None else Decimal(str(initial)))
        except ValidationError:
            return True
