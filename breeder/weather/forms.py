"""Forms for places, files of hours, and lows and highs typed by hand."""

from collections.abc import Iterator
from datetime import UTC, date, timedelta
from typing import Any
from zoneinfo import ZoneInfo

from django import forms
from django.core.exceptions import ValidationError
from django.utils import timezone

from breeder.base.dates import weekday_said
from breeder.base.form_messages import PlainForm
from breeder.base.models import known_zone
from breeder.core.transit.local_time import NoSuchTime, utc_moments
from breeder.core.units import to_celsius
from breeder.weather import daily_min_max
from breeder.weather.models import Place

LARGEST_FILE = 3_000_000  # bytes; ten thousand rows come to about 0.3 million
UNITS = [("", "as the column's name says"), ("c", "°C"), ("f", "°F")]


class PlaceForm(PlainForm, forms.Form):
    """A place by its coordinates; addresses bring their own places along."""

    label = forms.CharField(label="Name of the place", max_length=80, help_text="A town, never a person.")
    latitude = forms.DecimalField(
        min_value=-90, max_value=90, help_text="Degrees north; south is negative, such as 40.71."
    )
    longitude = forms.DecimalField(
        min_value=-180, max_value=180, help_text="Degrees east; west is negative, such as −74.01."
    )
    zone = forms.CharField(
        label="Time zone", max_length=60, validators=[known_zone], help_text="Such as America/Chicago."
    )
    altitude_m = forms.IntegerField(
        label="Height above the sea, m",
        required=False,
        min_value=-430,
        max_value=6000,
        help_text="May stay empty. In the mountains a forecast is better with it.",
    )


class UploadForm(PlainForm, forms.Form):
    """A file of hours."""

    file = forms.FileField(
        label="File of hours (CSV)",
        help_text="Columns time and temp_c (or temp_f, or temp with the unit chosen below). Times as 2026-03-07 14:00 "
        "or 3/7/2026 2:00 PM. At most 10,000 rows.",
    )
    unit = forms.ChoiceField(label="Temperatures are in", choices=UNITS, required=False)
    zone = forms.CharField(
        label="Times without an offset are in the zone",
        max_length=60,
        validators=[known_zone],
        help_text="Such as America/Chicago or UTC.",
    )
    issued_at = forms.CharField(
        label="The forecast was made at",
        required=False,
        widget=forms.DateTimeInput(attrs={"type": "datetime-local"}),
        help_text="On your own clock. Leave it empty if you don't know: it is then taken to be 12 hours old.",
    )
    credit = forms.CharField(
        label="Where it comes from", max_length=240, required=False, help_text="Shown wherever its hours are used."
    )
    measured = forms.BooleanField(
        label="These hours were measured",
        required=False,
        help_text="Then they are no forecast: earlier forecasts of this place are judged by them.",
    )
    sure = forms.BooleanField(
        label="The unit is right",
        required=False,
        help_text="Tick only when asked: for air above 45 °C, or leaps within an hour.",
    )

    def __init__(self, *args: Any, household_zone: ZoneInfo, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.household_zone = household_zone

    def clean_file(self) -> Any:
        sent = self.cleaned_data["file"]
        if sent.size > LARGEST_FILE:
            raise ValidationError(
                f"The file has {sent.size / 1e6:.1f} MB, far more than 10,000 rows need. Cut it down."
            )
        return sent

    def clean_issued_at(self) -> Any:
        text = self.cleaned_data["issued_at"]
        if not text:
            return None
        # Read as UTC, which never changes: the field would refuse an hour that comes twice in the household's zone.
        with timezone.override(UTC):
            local = forms.DateTimeField().to_python(text).replace(tzinfo=None)
        try:
            return utc_moments(local, self.household_zone)[0]
        except NoSuchTime as skipped:
            raise ValidationError(str(skipped)) from None


class DaysForm(PlainForm, forms.Form):
    """Lows and highs of the coming days, one row per day; empty rows are skipped."""

    def __init__(self, *args: Any, place: Place, today: date, fahrenheit: bool, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.fahrenheit = fahrenheit
        self.unit = "°F" if fahrenheit else "°C"
        self.fields["first"] = forms.DateField(required=False, initial=today, widget=forms.HiddenInput)
        first = self._opened_on(today)
        self.dates = [first + timedelta(days=ahead) for ahead in range(daily_min_max.MOST_DAYS)]
        for number in range(len(self.dates)):
            for word in ("low", "high"):
                self.fields[f"{word}_{number}"] = forms.FloatField(
                    label=f"{word.capitalize()}, {self.unit}",
                    required=False,
                    widget=forms.NumberInput(attrs={"step": "any", "inputmode": "decimal"}),
                )
        self.fields["sure"] = forms.BooleanField(
            label="The unit is right", required=False, help_text="Tick only when asked: for air above 45 °C."
        )

    def _opened_on(self, today: date) -> date:
        """Return the first day of the page as it was opened: typed values must not move by a day at midnight."""
        try:
            first = self.fields["first"].to_python(self["first"].data) or today
        except ValidationError:
            return today
        return first if timedelta() <= today - first < timedelta(days=daily_min_max.MOST_DAYS) else today

    def label_of(self, name: str) -> str:
        """Return the label with its day, which the page shows once above both fields."""
        word, _, number = name.partition("_")
        return f"{word.capitalize()} on {weekday_said(self.dates[int(number)])}" if number else super().label_of(name)

    def rows(self) -> Iterator[dict[str, Any]]:
        """Yield each day with its two fields, for the page."""
        for number, on in enumerate(self.dates):
            yield {"on": on, "low": self[f"low_{number}"], "high": self[f"high_{number}"]}

    def clean(self) -> dict[str, Any]:
        given = super().clean() or self.cleaned_data
        if self.errors:
            return given
        days = []
        for number, on in enumerate(self.dates):
            low, high = given.get(f"low_{number}"), given.get(f"high_{number}")
            if low is None and high is None:
                continue
            if low is None or high is None:
                word = "low" if low is None else "high"
                raise ValidationError(
                    f"{weekday_said(on)} has no {word}. Fill it in, or empty the other one.", code="half_day"
                )
            days.append(daily_min_max.DayExtremes(on, self._celsius(low), self._celsius(high)))
        given["days"] = daily_min_max.checked_days(days, fahrenheit=self.fahrenheit, sure=given.get("sure", False))
        return given

    def _celsius(self, value: float) -> float:
        return to_celsius(value) if self.fahrenheit else value
