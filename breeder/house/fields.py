"""Form fields that several rooms use."""

from decimal import Decimal
from typing import Any

from django import forms
from django.core.exceptions import ValidationError

HUNDRED = Decimal(100)


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
