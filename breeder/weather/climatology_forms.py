"""The form for the usual lows and highs of a place, month by month."""

from collections.abc import Iterator
from typing import Any

from django import forms
from django.core.exceptions import ValidationError

from breeder.base.form_messages import PlainForm
from breeder.core.units import to_celsius, to_fahrenheit
from breeder.weather import climatology
from breeder.weather.climatology import UsualRange

LARGEST_FILE = 20_000  # bytes; twelve rows come to about 200


class UsualForm(PlainForm, forms.Form):
    """Twelve usual lows and highs, typed or from a file; empty months stay unless the keeper removes them."""

    file = forms.FileField(
        label="Or a file (CSV)",
        required=False,
        help_text="Columns month, low_c and high_c (or low_f and high_f). It takes the place of what is typed above; "
        "months that are not in it stay as they are.",
    )
    credit = forms.CharField(
        label="Where it comes from", max_length=240, required=False, help_text="Such as the normals of a station."
    )

    removes_others = forms.BooleanField(
        label="Remove the months that are empty here, or not in the file", required=False
    )

    def __init__(
        self, *args: Any, fahrenheit: bool, kept: dict[int, UsualRange], may_remove: bool, **kwargs: Any
    ) -> None:
        super().__init__(*args, **kwargs)
        self.may_remove = may_remove
        if not may_remove:
            del self.fields["removes_others"]
        self.fahrenheit, self.unit = fahrenheit, "°F" if fahrenheit else "°C"
        for month in range(1, len(climatology.NAMES) + 1):
            for word, value in (("low", "low_c"), ("high", "high_c")):
                known = kept.get(month)
                self.fields[f"{word}_{month}"] = forms.FloatField(
                    label=f"{word.capitalize()}, {self.unit}",
                    required=False,
                    initial=None if known is None else self._shown(getattr(known, value)),
                    widget=forms.NumberInput(attrs={"step": "any", "inputmode": "decimal"}),
                )

    def label_of(self, name: str) -> str:
        """Return the label with its month, which the page shows once above both fields."""
        word, _, number = name.partition("_")
        return f"{word.capitalize()} of {climatology.NAMES[int(number) - 1]}" if number else super().label_of(name)

    def rows(self) -> Iterator[dict[str, Any]]:
        """Yield each month with its two fields, for the page."""
        for month, name in enumerate(climatology.NAMES, start=1):
            yield {"name": name, "low": self[f"low_{month}"], "high": self[f"high_{month}"]}

    def clean(self) -> dict[str, Any]:
        given = super().clean() or self.cleaned_data
        if self.errors:
            return given
        given["months"] = self._from_file(given["file"]) if given.get("file") else self._typed(given)
        if not given["months"] and not given.get("removes_others"):
            raise ValidationError(
                "No month is filled in, so nothing was changed. Fill in the low and high of at least one month.",
                code="no_months",
            )
        return given

    def _from_file(self, sent: Any) -> list[UsualRange]:
        if sent.size > LARGEST_FILE:
            raise ValidationError(
                f"The file has {sent.size / 1e3:.0f} kB, far more than twelve rows need. Cut it down."
            )
        months, faults = climatology.read_months_csv(sent.read())
        if faults:
            raise ValidationError(faults)
        return months

    def _typed(self, given: dict[str, Any]) -> list[UsualRange]:
        months = []
        for month, name in enumerate(climatology.NAMES, start=1):
            low, high = (self._celsius(given.get(f"{word}_{month}")) for word in ("low", "high"))
            if low is None and high is None:
                continue
            if low is None or high is None:
                word = "low" if low is None else "high"
                raise ValidationError(f"{name} has no {word}. Fill it in, or empty the other one.", code="half_month")
            if fault := climatology.month_fault(month, low, high, fahrenheit=self.fahrenheit):
                raise ValidationError(fault, code="no_month")
            months.append(UsualRange(month, low, high))
        return months

    def _shown(self, celsius: float) -> float:
        return round(to_fahrenheit(celsius) if self.fahrenheit else celsius, 1)

    def _celsius(self, value: float | None) -> float | None:
        return to_celsius(value) if self.fahrenheit and value is not None else value
