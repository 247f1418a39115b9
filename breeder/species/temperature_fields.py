"""Form fields for temperatures: typed in °C or °F as the household prefers, cleaned to °C."""

from decimal import Decimal
from typing import Any

from django import forms
from django.core.exceptions import ValidationError

from breeder.core.units import degrees, to_celsius, to_fahrenheit

TENTH = Decimal("0.1")
HALF_TENTH = 0.05  # what rounding to 0.1 may move a value by


class DegreesField(forms.DecimalField):
    """A temperature typed in the household's unit and cleaned to °C, rounded to 0.1.

    `low_c` and `high_c` bound the reasonable values, so tightly that a value in the wrong unit falls outside.
    """

    def __init__(self, *, low_c: float, high_c: float, **kwargs: Any) -> None:
        super().__init__(**kwargs)
        self.low_c, self.high_c = low_c, high_c
        self.fahrenheit = False

    @property
    def unit(self) -> str:
        return "°F" if self.fahrenheit else "°C"

    def prepare_value(self, value: Any) -> Any:
        """Show a stored value in the household's unit; leave typed text as it is."""
        if value is None or isinstance(value, str):
            return value
        shown = to_fahrenheit(float(value)) if self.fahrenheit else float(value)
        return f"{shown:.1f}".removesuffix(".0")

    def to_python(self, value: Any) -> Decimal | None:
        typed = super().to_python(value.replace(",", ".").replace("\u2212", "-") if isinstance(value, str) else value)
        if typed is None or not typed.is_finite():
            return typed
        celsius = to_celsius(float(typed)) if self.fahrenheit else float(typed)
        if not self._can_be(celsius):
            raise ValidationError(self.mix_up(float(typed)), code="unit_mix_up")
        return Decimal(str(celsius)).quantize(TENTH)

    def has_changed(self, initial: Any, data: Any) -> bool:
        """Compare in °C to 0.1, so that a value shown in °F and sent back untouched is no change."""
        try:
            return self.to_python(data) != (None if initial is None else Decimal(str(initial)).quantize(TENTH))
        except ValidationError:
            return True

    def _can_be(self, celsius: float) -> bool:
        return self.low_c - HALF_TENTH <= celsius <= self.high_c + HALF_TENTH

    def mix_up(self, typed: float) -> str:
        """Return the sentence for an impossible value, with what it would be in the other unit."""
        low, high = (degrees(value, fahrenheit=self.fahrenheit) for value in (self.low_c, self.high_c))
        sentence = f"‘{self.label}’ is {typed:g} {self.unit}; it should lie between {low} and {high}."
        as_celsius = typed if self.fahrenheit else to_celsius(typed)
        if not self._can_be(as_celsius):
            return f"{sentence} Check the value."
        other, here = ("°C", to_fahrenheit(typed)) if self.fahrenheit else ("°F", to_celsius(typed))
        return f"{sentence} If {typed:g} {other} was meant, write {here:.1f}."
