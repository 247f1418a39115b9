"""Heat injury by the keeper's own figures: what a course of temperature adds up to; 100 %: half would have died."""

from collections.abc import Iterable, Sequence
from typing import Any

from django import forms

from breeder.base.form_messages import PlainForm
from breeder.core.thermal.injury import Line, injury_percent, line_from
from breeder.species.temperature_fields import DegreesField

Course = Sequence[float | None]

MINUTES_PER_HOUR = 60
LEAST_Z_K, MOST_Z_K, USUAL_Z_K = 0.5, 10.0, 2.5  # 1 to 5 K is usual for invertebrates (Jorgensen et al. 2019)
FAHRENHEIT_PER_K = 1.8
MOST_SAID = 10_000  # percent; beyond it a number says no more
NO_CURVE = "No such curve is published for isopods: the figures are your own, and so is what follows from them."


class InjuryForm(PlainForm, forms.Form):
    """Three figures of one species, in the household's unit; asked in the page's address, kept nowhere."""

    half_at = DegreesField(label="Half would die after one hour at", low_c=28, high_c=50)
    tenfold = forms.FloatField(label="Ten times sooner for every further", initial=USUAL_Z_K)
    counts_from = DegreesField(label="Nothing adds up below", low_c=25, high_c=45)

    def __init__(self, *args: Any, fahrenheit: bool = False, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.per_k = FAHRENHEIT_PER_K if fahrenheit else 1.0
        for name in ("half_at", "counts_from"):
            self.fields[name].fahrenheit = fahrenheit
        for field in self.fields.values():
            field.label = f"{field.label}, {'°F' if fahrenheit else '°C'}"
        self.fields["tenfold"].initial = USUAL_Z_K * self.per_k

    @classmethod
    def asked(cls, typed: Any, *, fahrenheit: bool) -> "InjuryForm":
        """Return the form as asked for, or empty before anything was."""
        was_asked = any(name in typed for name in cls.base_fields)
        return cls(typed if was_asked else None, fahrenheit=fahrenheit)

    def clean_tenfold(self) -> float:
        """Return z in kelvin."""
        z_k = float(self.cleaned_data["tenfold"]) / self.per_k
        if not LEAST_Z_K <= z_k <= MOST_Z_K:
            label, typed = self.label_of("tenfold"), self.typed_in("tenfold")
            least, most = LEAST_Z_K * self.per_k, MOST_Z_K * self.per_k
            raise forms.ValidationError(
                f"‘{label}’ is {typed}; it must lie between {least:g} and {most:g}.",
                code="z_out_of_range",
            )
        return z_k

    @property
    def line(self) -> Line | None:
        """Return the species' line; None while the figures are not given."""
        if not self.is_bound or not self.is_valid():
            return None
        given = self.cleaned_data
        return line_from(float(given["half_at"]), given["tenfold"], float(given["counts_from"]))


def shown_of(
    typed: Any, courses: Iterable[tuple[str, Course]], *, fahrenheit: bool, per_hour: int = 1
) -> dict[str, Any]:
    """Return what a page shows: the form, and once its figures are given a sentence for each named course."""
    form = InjuryForm.asked(typed, fahrenheit=fahrenheit)
    line, said = form.line, []
    if line is not None:
        said = [injury_said(summed_percent(line, course, per_hour), name) for name, course in courses]
    return {"injury": form, "injury_said": said, "no_curve": NO_CURVE}


def summed_percent(line: Line, course_c: Course, per_hour: int = 1) -> float | None:
    """Return what temperatures at equal times add up to, 100: half would have died; None where an hour is missing."""
    known = [value for value in course_c if value is not None]
    if len(known) < len(course_c) or len(known) < 2:
        return None
    return injury_percent(line, [place * MINUTES_PER_HOUR / per_hour for place in range(len(known))], known)


def injury_said(percent: float | None, course: str) -> str:
    """Return the sum in words: 'Hot steps of one day: 12 % of what half would not survive.'"""
    if percent is None:
        return f"{course}: hours are missing, so nothing can be added up."
    if percent == 0:
        return f"{course}: nothing, it never becomes so warm."
    if percent < 1:
        return f"{course}: under 1 % of what half would not survive."
    if percent < 100:
        return f"{course}: {percent:.0f} % of what half would not survive."
    if percent >= MOST_SAID:
        return f"{course}: over {MOST_SAID // 100} times what half would not survive."
    return f"{course}: {percent / 100:.1f} times what half would not survive."
