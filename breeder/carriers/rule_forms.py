"""Forms for the book of rules: movement rules, carriers' rules and permits."""

import re
from datetime import date, timedelta
from typing import Any

from django import forms
from django.core.exceptions import ValidationError
from django.db.models import Q
from django.utils import timezone

from breeder.base.edit_conflicts import SeenForm
from breeder.base.form_messages import PlainForm
from breeder.base.widgets import LeanSelect
from breeder.carriers.models import CarrierRule, MovementRule, Permit, Service
from breeder.core.compliance import regions
from breeder.core.compliance.acceptance import month_day_text
from breeder.people.models import Person

# How long a rule counts after the keeper looked it up, if they name no day: a year (common practice, no source).
LOOKED_UP_FOR = timedelta(days=365)
MOST_DAYS = 15
DATE = {"type": "date"}
EFFECTS = [
    ("", "choose"),
    (MovementRule.Effect.FORBIDDEN, "Forbidden"),
    (MovementRule.Effect.PERMIT, "Only under a permit"),
    (MovementRule.Effect.CONDITIONS, "Allowed with conditions"),
    (MovementRule.Effect.ALLOWED, "Allowed"),
]
TAKES = [
    ("", "choose"),
    (CarrierRule.Takes.YES, "Takes them"),
    (CarrierRule.Takes.AGREEMENT, "Takes them only under an agreement"),
    (CarrierRule.Takes.NO, "Does not take them"),
]
REGION_HELP = "Such as US, US-FL or Florida, CA-ON or DE. Empty: anywhere."
LONGEST_REGION = 60
TWICE = "The book holds a rule for exactly this already. Change that one instead."


EVIDENCE = ("citation", "url", "verified", "checked_on", "recheck_on", "note")


class RegionField(forms.CharField):
    """A country or state by ISO 3166; an empty text is anywhere."""

    def clean(self, value: Any) -> str:
        code = regions.region_code(super().clean(value))
        if fault := regions.code_fault(code):
            raise ValidationError(fault, code="no_region")
        return code


class ListField(forms.CharField):
    """Several names or codes with commas between them."""

    def prepare_value(self, value: Any) -> Any:
        return ", ".join(value) if isinstance(value, list) else value

    def to_python(self, value: Any) -> list[str]:  # type: ignore[override]
        return [" ".join(part.split()) for part in re.split(r"[,;\n]", str(value or "")) if part.strip()]

    def run_validators(self, value: Any) -> None:
        """Skip the length check of the text; the form checks each part instead."""


class OnRecordForm(SeenForm, PlainForm, forms.ModelForm):
    """Fields of every rule: where it is written, when the keeper looked it up, and until when that counts."""

    url = forms.URLField(label="Address of that page", required=False, max_length=240, assume_scheme="https")

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        for name in ("checked_on", "recheck_on"):
            self.fields[name].widget = forms.DateInput(attrs=DATE, format="%Y-%m-%d")
        for name in ("conditions", "note"):
            self.fields[name].widget = forms.Textarea(attrs={"rows": 4})
        self.fields["citation"].help_text = "Section, page and year, so that you can find it again."
        self.fields["recheck_on"].help_text = "Left empty: a year after you looked it up."
        self.fields[
            "verified"
        ].help_text = "Only a rule you looked up decides. Without the tick it is an example, and the check asks you."
        if "taxon" in self.fields:
            self.fields["taxon"].help_text = "Such as Porcellio scaber, Isopoda or Insecta; covers all below it."

    @property
    def sections(self) -> list[tuple[str, list[forms.BoundField]]]:
        """Return the fields as the page shows them: the rule, then its evidence."""
        rule = [self[name] for name in self.fields if name not in EVIDENCE]
        return [
            ("What holds where", rule),
            ("Where it is written, and when you looked", [self[name] for name in EVIDENCE]),
        ]

    def clean_taxon(self) -> str:
        return " ".join(self.cleaned_data["taxon"].split())

    def clean(self) -> dict[str, Any]:
        given = super().clean() or self.cleaned_data
        looked, again = given.get("checked_on"), given.get("recheck_on")
        if looked and looked > timezone.localdate():
            self.add_error("checked_on", f"{looked:%-d %B %Y} is still to come. Write the day on which you looked.")
        if given.get("verified") and not looked and "checked_on" not in self.errors:
            self.add_error("checked_on", "You ticked that you looked it up. Write on which day.")
        if looked and not again:
            given["recheck_on"] = looked + LOOKED_UP_FOR
        if looked and again and again <= looked:
            self.add_error("recheck_on", "This day is not after the one on which you looked. Mend one of the two.")
        return given


class MovementRuleForm(OnRecordForm):
    """An authority's rule on moving a taxon from one region into another."""

    origin = RegionField(label="From", required=False, max_length=LONGEST_REGION, help_text=REGION_HELP)
    destination = RegionField(label="Into", required=False, max_length=LONGEST_REGION, help_text=REGION_HELP)
    effect = forms.ChoiceField(label="What holds there", choices=EFFECTS)

    class Meta:
        model = MovementRule
        fields = (
            "taxon", "destination", "origin", "across_only", "effect", "permit_kind", "conditions", "authority",
            "citation", "url", "verified", "checked_on", "recheck_on", "note",
        )  # fmt: skip
        labels = {
            "taxon": "Species or higher taxon; empty for all that is not listed",
            "authority": "Whose rule it is",
            "permit_kind": "Kind of permit, such as PPQ 526",
            "across_only": "Not within one state",
        }
        help_texts = {
            "across_only": "For rules on moving from state to state.",
            "authority": "Of one authority the most specific rule counts; several add up.",
        }
        error_messages = {forms.forms.NON_FIELD_ERRORS: {"unique_together": TWICE}}


class CarrierRuleForm(OnRecordForm):
    """A rule of a carrier or a service on live animals of a taxon."""

    service = forms.ModelChoiceField(
        Service.objects.none(), required=False, empty_label="all its services", label="Service"
    )
    takes = forms.ChoiceField(label="Live animals of this taxon", choices=TAKES)

    class Meta:
        model = CarrierRule
        fields = (
            "carrier", "service", "taxon", "takes", "season_from", "season_until", "most_days", "domestic_only",
            "marking", "conditions", "citation", "url", "verified", "checked_on", "recheck_on", "note",
        )  # fmt: skip
        labels = {"taxon": "Species or higher taxon; empty for all live invertebrates"}
        help_texts = {
            "season_from": "Month and day, such as 03-01. Empty: all year.",
            "most_days": "A service whose planned latest day is longer does not take them.",
        }
        error_messages = {forms.forms.NON_FIELD_ERRORS: {"unique_together": TWICE}}

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.fields["service"].queryset = Service.objects.all()  # type: ignore[attr-defined]

    def clean_season_from(self) -> str:
        return self._month_day("season_from")

    def clean_season_until(self) -> str:
        return self._month_day("season_until")

    def _month_day(self, name: str) -> str:
        typed = str(self.cleaned_data[name]).strip()
        try:
            if typed:
                month_day_text(typed)
        except ValueError:
            raise ValidationError(
                f"‘{typed}’ is no month and day. Write 03-01 for the first of March.", code="no_day"
            ) from None
        return typed

    def clean(self) -> dict[str, Any]:
        given = super().clean()
        service = given.get("service")
        if service and service.carrier.lower() != str(given.get("carrier", "")).strip().lower():
            self.add_error("service", f"{service} is a service of {service.carrier}. Mend carrier or service.")
        if bool(given.get("season_from")) != bool(given.get("season_until")) and not {
            "season_from", "season_until",
        } & set(self.errors):  # fmt: skip
            self.add_error("season_until", "A season has a first and a last day. Write both, or neither.")
        if (most := given.get("most_days")) is not None and not 1 <= most <= MOST_DAYS:
            self.add_error("most_days", f"{most} is not between 1 and {MOST_DAYS} working days.")
        return given


class PermitForm(SeenForm, PlainForm, forms.ModelForm):
    """A permit and its scope."""

    person = forms.ModelChoiceField(
        Person.objects.none(), required=False, empty_label="me", label="Held by", widget=LeanSelect
    )
    taxa = ListField(label="Species or higher taxa", help_text="With commas between them; each covers all below it.")
    origins = ListField(label="From", required=False, help_text=f"{REGION_HELP} Several with commas.")
    destinations = ListField(label="Into", required=False, help_text=f"{REGION_HELP} Several with commas.")

    class Meta:
        model = Permit
        fields = (
            "number", "kind", "issuer", "person", "direction", "taxa", "origins", "destinations", "valid_from",
            "valid_until", "conditions",
        )  # fmt: skip
        labels = {"kind": "Kind, such as PPQ 526", "number": "Number"}
        help_texts = {"direction": "Your own counts to send; a customer's counts to receive, for them alone."}
        widgets = {name: forms.DateInput(attrs=DATE, format="%Y-%m-%d") for name in ("valid_from", "valid_until")}
        error_messages = {
            forms.forms.NON_FIELD_ERRORS: {"unique_together": "This permit is in the book already. Change that one."}
        }

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        # The holder stays in the list even after removal; without them the permit would be saved as the keeper's.
        holders = Q(removed_at=None) | Q(pk=self.instance.person_id)
        self.fields["person"].queryset = Person.objects.filter(holders)  # type: ignore[attr-defined]

    @property
    def sections(self) -> list[tuple[str, list[forms.BoundField]]]:
        """Return the fields as the page shows them."""
        parts = {
            "The permit": ("number", "kind", "issuer", "person", "direction"),
            "What it covers": ("taxa", "origins", "destinations", "conditions"),
            "When it counts": ("valid_from", "valid_until"),
        }
        return [(title, [self[name] for name in names]) for title, names in parts.items()]

    def clean_origins(self) -> list[str]:
        return self._codes("origins")

    def clean_destinations(self) -> list[str]:
        return self._codes("destinations")

    def _codes(self, name: str) -> list[str]:
        codes = [regions.region_code(part) for part in self.cleaned_data[name]]
        if faults := [fault for code in codes if (fault := regions.code_fault(code))]:
            raise ValidationError(faults)
        return list(dict.fromkeys(codes))

    def clean(self) -> dict[str, Any]:
        given = super().clean() or self.cleaned_data
        first, last = given.get("valid_from"), given.get("valid_until")
        if isinstance(first, date) and isinstance(last, date) and last < first:
            self.add_error("valid_until", f"That is before it begins on {first:%-d %B %Y}. Mend one of the two.")
        return given


class AskForm(PlainForm, forms.Form):
    """A species and a region, to look up the rules without an order."""

    species = forms.ModelChoiceField(None, label="Species", empty_label="choose")  # type: ignore[arg-type]
    into = RegionField(label="Into", max_length=LONGEST_REGION, help_text="Such as Florida (US-FL) or Germany (DE).")

    def __init__(self, *args: Any, species: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.fields["species"].queryset = species  # type: ignore[attr-defined]


class RulesFileForm(PlainForm, forms.Form):
    """A file of movement rules."""

    file = forms.FileField(label="File of rules (CSV)", help_text="All of it is taken, or nothing.")
