"""Forms for services and closures."""

from datetime import date
from decimal import Decimal
from typing import Any

from django import forms
from django.core.exceptions import ValidationError

from breeder.base.edit_conflicts import SeenForm
from breeder.base.form_messages import PlainForm
from breeder.carriers.federal_holidays import FIRST_YEAR
from breeder.carriers.models import Closure, Service
from breeder.carriers.queries import carriers
from breeder.core.transit.delivery_days import DELAYS_FROM
from breeder.species.temperature_fields import DegreesField

WEEKDAYS = ("Monday", "Tuesday", "Wednesday", "Thursday", "Friday", "Saturday")
MOST_DAYS = 15
LAST_YEAR = 2100


class ServiceForm(SeenForm, PlainForm, forms.ModelForm):
    """A carrier's service as this keeper uses it."""

    weekdays = forms.TypedMultipleChoiceField(
        label="Posted on",
        choices=list(enumerate(WEEKDAYS)),
        coerce=int,
        widget=forms.CheckboxSelectMultiple,
        help_text="Days on which you hand parcels over.",
    )
    late = forms.CharField(
        label="Parcels on time, a day late, two days late, in percent",
        help_text=f"Such as 87, 9, 4 (from {DELAYS_FROM}). They add up to 100.",
    )

    hub_c = DegreesField(low_c=5, high_c=35, required=False)
    van_hours = forms.DecimalField(label="Hours in the van", min_value=Decimal("0.5"), max_value=12, required=False)

    class Meta:
        model = Service
        fields = (
            "carrier", "name", "weekdays", "least_days", "usual_days", "latest_days", "late", "cut_off",
            "truck_at", "network", "hub_c", "delivers_from", "delivers_until", "van_hours", "to_doorstep", "doorstep",
            "doorstep_hours", "to_counter", "price", "marking", "source", "active",
        )  # fmt: skip
        widgets = {
            name: forms.TimeInput(attrs={"type": "time"})
            for name in ("cut_off", "truck_at", "delivers_from", "delivers_until")
        }
        help_texts = {
            "least_days": "Working days when all goes well.",
            "usual_days": "Working days until it usually arrives.",
            "latest_days": "Working days you plan for. A day is not used if these would cross a Sunday or a closure.",
            "network": "Worth asking: a trailer without heating has the air outside, all night.",
            "doorstep": "Until somebody is home. A buyer who knows can tell you.",
            "source": "Where these figures come from.",
        }

    def __init__(self, *args: Any, fahrenheit: bool = False, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.fields["hub_c"].fahrenheit = fahrenheit
        self.fields["hub_c"].label = f"Inside its depots, {'°F' if fahrenheit else '°C'}"
        self.fields["hub_c"].help_text = "Where you know it. Empty: about room temperature."
        self.fields["van_hours"].help_text = "On the day of delivery. Empty: until the middle of its round."
        if self.instance.pk:
            self.initial["late"] = ", ".join(f"{share * 100:g}" for share in self.instance.delay_shares)

    @property
    def sections(self) -> list[tuple[str, list[forms.BoundField]]]:
        """Return the fields as the page shows them."""
        parts = {
            "The service": ("carrier", "name", "price", "active", "weekdays"),
            "How long it takes": ("least_days", "usual_days", "latest_days", "late"),
            "Its way, leg by leg": (
                "cut_off", "truck_at", "network", "hub_c", "delivers_from", "delivers_until", "van_hours",
                "to_doorstep", "doorstep", "doorstep_hours", "to_counter",
            ),
            "What it asks for, and where this comes from": ("marking", "source"),
        }  # fmt: skip
        return [(title, [self[name] for name in names]) for title, names in parts.items()]

    def clean_late(self) -> list[float]:
        typed = self.cleaned_data["late"]
        try:
            shares = [float(part) for part in typed.replace("%", "").replace(";", ",").split(",")]
        except ValueError:
            raise ValidationError(
                "“%(typed)s” is not a list of percentages. Write 87, 9, 4.", params={"typed": typed}
            ) from None
        if any(not 0 <= share <= 100 for share in shares) or abs(sum(shares) - 100) > 0.5:
            raise ValidationError(
                "“%(typed)s” adds up to %(total)g. The percentages of on time and late add up to 100.",
                params={"typed": typed, "total": round(sum(shares), 2)},
            )
        return [share / 100 for share in shares]

    def clean(self) -> dict[str, Any]:
        cleaned = super().clean() or self.cleaned_data
        least, usual, latest = (cleaned.get(name) for name in ("least_days", "usual_days", "latest_days"))
        if least is not None and usual is not None and not 1 <= least <= usual:
            self.add_error(
                "least_days", f"At best {least} working days cannot be with {usual} as usual. Write 1 to {usual}."
            )
        if usual is not None and latest is not None and not 1 <= usual <= latest <= MOST_DAYS:
            self.add_error(
                "latest_days",
                f"Usual is {usual} and latest {latest} working days. "
                f"Both lie between 1 and {MOST_DAYS}, latest not before usual.",
            )
        return cleaned

    def save(self, commit: bool = True) -> Service:
        self.instance.delay_shares = self.cleaned_data["late"]
        return super().save(commit=commit)


class CarrierField(forms.CharField):
    """The carrier of a service in the book, in any case; a closure of any other carrier would close nothing."""

    def clean(self, value: Any) -> str:
        typed = super().clean(value)
        known = carriers()
        match = next((carrier for carrier in known if carrier.casefold() == typed.casefold()), "")
        if known and not match:
            raise ValidationError(
                f"No service of ‘{typed}’ is in the book. Write one of: {', '.join(known)}; or add the service first.",
                code="no_carrier",
            )
        return match or typed


class ClosureForm(PlainForm, forms.ModelForm):
    """A day on which a carrier neither collects nor delivers."""

    carrier = CarrierField(max_length=60)

    class Meta:
        model = Closure
        fields = ("carrier", "on", "name")
        widgets = {"on": forms.DateInput(attrs={"type": "date"})}


class HolidaysForm(PlainForm, forms.Form):
    """A year's US federal holidays for one carrier."""

    carrier = CarrierField(max_length=60)
    year = forms.IntegerField(min_value=FIRST_YEAR, max_value=LAST_YEAR)

    @classmethod
    def for_next(cls, carrier: str, today: date) -> "HolidaysForm":
        return cls(initial={"carrier": carrier, "year": today.year + 1})
