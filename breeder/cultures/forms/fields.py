"""Fields for wet hands: animals in sex notation, lists of numbers, and when it happened."""

import re
from datetime import datetime
from typing import Any

from django import forms
from django.core.exceptions import ValidationError
from django.utils import timezone

from breeder.cultures.actions.counts import Sexed
from breeder.cultures.actions.line_lock import MOST_ANIMALS

FIRST_YEAR = 1990  # nobody's tub is older; an earlier year is a slip
NOTATION = re.compile(r"(\d{1,7})\s*[.,]\s*(\d{1,7})(?:\s*[.,]\s*(\d{1,7}))?")
MOST_NUMBERS = 200  # portions or passes in one count
LONGEST_SHOWN = 60


class AnimalsField(forms.CharField):
    """Animals as '12', or by sex as '3.4.10' (males.females.unsexed); cleaned to a whole number or to Sexed."""

    def __init__(self, *, least: int = 1, **kwargs: Any) -> None:
        self.least = least
        kwargs.setdefault("help_text", "A number such as 12, or males.females.unsexed such as 3.4.10.")
        super().__init__(max_length=30, **kwargs)
        self.widget.attrs |= {"inputmode": "decimal", "autocomplete": "off"}

    def clean(self, value: Any) -> int | Sexed | None:
        text = super().clean(value).strip()
        if text in self.empty_values:
            return None
        if re.fullmatch(r"\d{1,7}", text):
            return self._in_range(int(text), text)
        parts = NOTATION.fullmatch(text)
        if not parts:
            raise self._wrong(text, "which is not a number of animals. Write 12, or 3.4.10 for males.females.unsexed.")
        sexed = Sexed(int(parts[1]), int(parts[2]), int(parts[3] or 0))
        self._in_range(sexed.counted, text)
        return sexed

    def _in_range(self, number: int, text: str) -> int:
        if number < self.least:
            raise self._wrong(text, f"but it must be at least {self.least}.")
        if number > MOST_ANIMALS:
            raise self._wrong(text, f"more than one tub can hold ({MOST_ANIMALS}). Type it again.")
        return number

    def _wrong(self, text: str, fault: str) -> ValidationError:
        return ValidationError(f"‘{self.label}’ is ‘{_short(text)}’, {fault}", code="animals")


class SexesField(AnimalsField):
    """Animals of known sex as '3.4' (males.females); cleaned to Sexed."""

    def __init__(self, **kwargs: Any) -> None:
        kwargs.setdefault("help_text", "Males.females, such as 3.4.")
        super().__init__(**kwargs)

    def clean(self, value: Any) -> Sexed | None:
        sexed = super().clean(value)
        if sexed is not None and (not isinstance(sexed, Sexed) or sexed.unsexed):
            raise self._wrong(str(value).strip(), "but each animal needs its sex. Write males.females, such as 3.4.")
        return sexed


class NumbersField(forms.CharField):
    """A list of numbers with spaces or semicolons between, such as '9 14 6'; cleaned to a list."""

    def __init__(self, *, whole: bool, **kwargs: Any) -> None:
        self.whole = whole
        super().__init__(max_length=1000, **kwargs)
        self.widget.attrs |= {"inputmode": "text", "autocomplete": "off"}

    def clean(self, value: Any) -> list[float]:
        words = [word for word in re.split(r"[\s;]+", super().clean(value).strip()) if word]
        if len(words) > MOST_NUMBERS:
            raise ValidationError(
                f"‘{self.label}’ has {len(words)} numbers; at most {MOST_NUMBERS} fit one count.", code="numbers"
            )
        return [self._number(word.rstrip(",")) for word in words]

    def _number(self, word: str) -> float:
        pattern = r"\d{1,7}" if self.whole else r"\d{1,7}(?:[.,]\d{1,4})?"
        if not re.fullmatch(pattern, word):
            kind = "whole number" if self.whole else "number"
            example = "9 14 6" if self.whole else "50 or 50 50 40"
            raise ValidationError(
                f"‘{self.label}’ holds ‘{_short(word)}’, which is not a {kind}. "
                f"Write the numbers with spaces between, such as {example}.",
                code="numbers",
            )
        return int(word) if self.whole else float(word.replace(",", "."))


def photo_field() -> forms.FileField:
    """Return a field for a photo from the phone's camera; whether it can be read is checked after the entry is safe."""
    # Asked for these kinds by name, a phone that keeps others hands over a JPEG.
    kinds = "image/jpeg,image/png,image/webp"
    camera = forms.FileInput(attrs={"accept": kinds, "capture": "environment"})
    return forms.FileField(label="Photo", required=False, allow_empty_file=True, widget=camera)


class WhenField(forms.DateTimeField):
    """When it happened; left empty it is now."""

    widget = forms.DateTimeInput(attrs={"type": "datetime-local"}, format="%Y-%m-%dT%H:%M")

    def __init__(self, **kwargs: Any) -> None:
        kwargs = {"label": "When", "required": False, "help_text": "Left empty it is now."} | kwargs
        super().__init__(**kwargs)

    def to_python(self, value: Any) -> datetime | None:
        try:
            at = super().to_python(value)
        except (ValidationError, OverflowError, ValueError) as fault:
            at = _at_a_clock_change(fault)
            if at is None and value not in self.empty_values:
                raise ValidationError(
                    f"‘{self.label}’ is ‘{_short(str(value))}’, which is not a day and time. Write 2026-03-31 16:30.",
                    code="when",
                ) from None
        if at is not None and at.year < FIRST_YEAR:
            raise ValidationError(f"‘{self.label}’ is in the year {at.year}. Check the year.", code="when")
        return at


def _at_a_clock_change(fault: Exception) -> datetime | None:
    """Return the moment of a time that clocks show twice, or leap over; what happened then is no slip of the pen.

    Of two the first is taken; one that was leapt over is that long after the leap.
    """
    if getattr(fault, "code", "") != "ambiguous_timezone":
        return None
    return timezone.make_aware(fault.params["datetime"])  # type: ignore[attr-defined]


def _short(text: str) -> str:
    text = text.replace("\x00", "")
    return text if len(text) <= LONGEST_SHOWN else f"{text[:LONGEST_SHOWN]}…"


def as_number(animals: int | Sexed | None) -> tuple[int, int, int]:
    """Return (number, males, females) of what was typed; nothing typed is none."""
    if animals is None:
        return 0, 0, 0
    if isinstance(animals, Sexed):
        return animals.counted, animals.males, animals.females
    return animals, 0, 0
