"""Forms for species and lines."""

from decimal import Decimal
from typing import Any

from django import forms
from django.core.exceptions import ValidationError
from django.core.validators import MaxValueValidator, MinValueValidator

from breeder.base.edit_conflicts import SeenForm
from breeder.base.fields import PercentField
from breeder.base.form_messages import PlainForm
from breeder.base.models import Setting
from breeder.core.units import degrees
from breeder.species import rules, species_fields
from breeder.species.models import Line, Mark, Species
from breeder.species.temperature_fields import DegreesField

MOST_KEPT = 100_000
MOST_DAYS = 3_650
QUOTES = " '\"‘’‚‛“”„«»‹›`´"

NAMES = ("scientific_name", "qualifier")

# The widest range of each value; wide on purpose, to catch a typing slip but not a surprising animal.
BETWEEN = {
    "adult_length_mm": (0.1, 500),
    "hours_allowed": (0, 96),
    "brood": (0, 10_000),
    "broods_a_year": (0, 52),
    "mature_days": (1, 10_000),
    "generation_days": (1, 10_000),
    "adult_life_months": (0.1, 600),
}


class SpeciesFilter(forms.Form):
    """Narrows the list of species."""

    q = forms.CharField(label="Name", required=False, max_length=80)
    group = forms.ChoiceField(label="Group", required=False, choices=[("", "all groups"), *Species.Group.choices])
    band = forms.ChoiceField(label="Band", required=False, choices=[("", "both bands"), *Species.Band.choices])


class SpeciesForm(SeenForm, PlainForm, forms.ModelForm):
    """All values of a species, and the source of the changed ones."""

    # Tight bounds on purpose: a usual limit typed in the wrong unit falls outside.
    comfort_low_c = DegreesField(low_c=-5, high_c=28)
    comfort_high_c = DegreesField(low_c=15, high_c=45)
    hard_low_c = DegreesField(low_c=-5, high_c=20)
    hard_high_c = DegreesField(low_c=20, high_c=50)
    keeping_low_c = DegreesField(low_c=0, high_c=32, required=False)
    keeping_high_c = DegreesField(low_c=10, high_c=40, required=False)
    moist_share = PercentField(required=False)
    share_female = PercentField(initial=0.5)
    young_survival = PercentField(required=False)
    mark = forms.ChoiceField(
        label="Evidence for what you changed", required=False, choices=[("", "your own record"), *Mark.choices[:-1]]
    )
    source = forms.CharField(
        label="Source of what you changed",
        required=False,
        max_length=200,
        help_text="Such as ‘author and year, journal, page’. Left empty it is your own record.",
    )

    class Meta:
        model = Species
        fields = [*NAMES, *species_fields.FIELDS]
        widgets = {"sexing": forms.Textarea(attrs={"rows": 4})}
        error_messages = {
            forms.forms.NON_FIELD_ERRORS: {
                "unique_together": "This species is in the book already. Open it and edit it there."
            }
        }

    def __init__(self, *args: Any, household: Setting, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        unit = "°F" if household.fahrenheit else "°C"
        for name in species_fields.FIELDS:
            self.fields[name].label = species_fields.field_label(name)
            if isinstance(self.initial.get(name), Decimal) and type(self.fields[name]) is forms.DecimalField:
                self.initial[name] = f"{self.initial[name].normalize():f}"
        for name in species_fields.DEGREES:
            self.fields[name].fahrenheit = household.fahrenheit
            self.fields[name].label += f", {unit}"
        for name in species_fields.PERCENT:
            self.fields[name].label += ", %"
        self._label_units()
        if self.instance.pk is None:
            self._use_band_limits()

    def _label_units(self) -> None:
        for name, unit in species_fields.UNITS.items():
            if unit not in self.fields[name].label.lower():
                self.fields[name].label += f", {unit}"
        for name, (least, most) in BETWEEN.items():
            self.fields[name].validators += [MinValueValidator(least), MaxValueValidator(most)]
        self.fields["adult_length_mm"].label += ", mm"
        self.fields["group"].choices = [("", "choose a group"), *Species.Group.choices]  # type: ignore[attr-defined]
        self.fields["qualifier"].help_text = "cf., aff. or sp.; empty for a determined species."
        self.fields["authorship"].help_text = "In brackets only where the genus has changed since."

    def _use_band_limits(self) -> None:
        for name in species_fields.LIMITS:
            field = self.fields[name]
            field.required = False
            usual = [(limits[name], band) for band, limits in rules.BAND_LIMITS.items()]
            limits_text = " or ".join(f"{degrees(value, fahrenheit=field.fahrenheit)} {band}" for value, band in usual)
            field.help_text = f"Left empty: {limits_text} (common practice, no source)."

    @property
    def usual(self) -> list[str]:
        """Return the fields that the keeper left untouched, so a new species gets the usual value."""
        return [name for name in species_fields.FIELDS if name not in self.changed_data]

    @property
    def sections(self) -> list[tuple[str, list[forms.BoundField]]]:
        """Return the fields as the page shows them: names first, then the sections of the species' page."""
        parts = [("Name", [self[name] for name in NAMES])]
        parts += [(title, [self[name] for name in names]) for title, names in species_fields.SECTIONS.items()]
        return [*parts, ("Where the changes come from", [self["mark"], self["source"]])]

    @property
    def values(self) -> dict[str, Any]:
        """Return the cleaned values of the species alone."""
        return {name: self.cleaned_data[name] for name in self.Meta.fields}

    def clean(self) -> dict[str, Any]:
        cleaned = super().clean() or self.cleaned_data
        for name, usual in rules.BAND_LIMITS.get(cleaned.get("band", ""), {}).items():
            if name in cleaned and cleaned[name] is None:
                cleaned[name] = usual
        for lower, higher in rules.out_of_order(cleaned):
            self.add_error(higher, ValidationError(self._out_of_order(lower, higher), code="limits_out_of_order"))
        return cleaned

    def _out_of_order(self, lower: str, higher: str) -> str:
        low, high = self.typed_in(lower), self.typed_in(higher)
        return f"‘{self.label_of(higher)}’ is {high}, but ‘{self.label_of(lower)}’ is {low}. Mend one of the two."


class LineForm(SeenForm, PlainForm, forms.ModelForm):
    """A line: what it is, how it is sold and what must stay."""

    harvest_share = PercentField(
        label="Young taken between counts, %",
        required=False,
        initial=0.30,
        help_text="30 is common practice, no source. Empty for no limit.",
    )
    handling_loss = PercentField(label="Lost in handling, %", initial=0)
    confidence = PercentField(label="How sure the safe number is, %", low=50, high=99, initial=0.95)
    adults_kept = forms.IntegerField(label="Adults that stay", min_value=0, max_value=MOST_KEPT, required=False)
    young_kept = forms.IntegerField(label="Young that stay", min_value=0, max_value=MOST_KEPT, required=False)
    each_sex_kept = forms.IntegerField(label="Of each sex that stay", min_value=0, max_value=MOST_KEPT, initial=3)
    cup_rest_days = forms.IntegerField(
        label="Days a tub rests after a cup", min_value=0, max_value=MOST_DAYS, initial=28
    )

    class Meta:
        model = Line
        fields = [
            "species", "form_name", "locality", "provenance", "status", "irreplaceable", "sold_by", "shown_by",
            "not_for_sale", "resting_until", "adults_kept", "young_kept", "each_sex_kept", "harvest_share",
            "handling_loss", "confidence", "cups_per_tub", "cup_rest_days",
        ]  # fmt: skip
        widgets = {
            "resting_until": forms.DateInput(attrs={"type": "date"}, format="%Y-%m-%d"),
            "provenance": forms.Textarea(attrs={"rows": 3}),
        }
        error_messages = {
            forms.forms.NON_FIELD_ERRORS: {
                "unique_together": "A line of this species with this form and locality is in the book already. "
                "Give another form or locality."
            }
        }

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.fields["adults_kept"].help_text = (
            f"Left empty: {rules.ADULTS_KEPT}, or {rules.ADULTS_KEPT_IRREPLACEABLE} for what cannot be bought again; "
            "common practice, no source."
        )
        self.fields["young_kept"].help_text = "Left empty: as many as adults."
        self.fields["form_name"].help_text = "Color or pattern; empty for the plain species."
        self.fields["shown_by"].help_text = "Where only one sex shows it, the other cannot be sorted by looks."
        self.fields["species"].empty_label = "choose a species"  # type: ignore[attr-defined]
        self.fields["irreplaceable"].help_text = "Keeps more breeders, and more than one tub."
        if self.instance.pk is None:
            self.initial["adults_kept"] = self.initial["young_kept"] = None

    def clean_form_name(self) -> str:
        """Take off the quotes that a keeper writes around a form; the pages put them back."""
        return self.cleaned_data["form_name"].strip(QUOTES)

    @property
    def sections(self) -> list[tuple[str, list[forms.BoundField]]]:
        """Return the fields as the page shows them."""
        names = {
            "The line": ["species", "form_name", "locality", "provenance", "status", "irreplaceable"],
            "What must stay": ["adults_kept", "young_kept", "each_sex_kept", "harvest_share", "reason"],
            "How it is sold": [
                "sold_by", "shown_by", "not_for_sale", "resting_until", "handling_loss", "confidence",
                "cups_per_tub", "cup_rest_days",
            ],
        }  # fmt: skip
        return [(title, [self[name] for name in parts if name in self.fields]) for title, parts in names.items()]

    @property
    def values(self) -> dict[str, Any]:
        """Return the cleaned values of the line alone."""
        return {name: self.cleaned_data[name] for name in self.Meta.fields if name in self.fields}


class LineEditForm(LineForm):
    """Edit an existing line: its species stays, and lowering its protection needs a reason."""

    reason = forms.CharField(
        label="Reason, where a minimum falls or the line closes",
        required=False,
        max_length=400,
        widget=forms.Textarea(attrs={"rows": 2}),
    )

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        del self.fields["species"]
