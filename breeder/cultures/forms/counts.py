"""One form for each way to count a tub; what is cleaned is what the ledger keeps of it."""

import hashlib
import json
from decimal import Decimal
from typing import Any

from django import forms

from breeder.base.form_messages import PlainForm
from breeder.cultures import count_entry
from breeder.cultures.actions.counts import CARED, Sexed
from breeder.cultures.actions.line_lock import MOST_ANIMALS
from breeder.cultures.forms.fields import AnimalsField, NumbersField, SexesField, WhenField, photo_field

STAGES = [("young", "young"), ("adults", "adults")]
EYE_CHOICES = [(size.words, size.words.replace("–", " – ")) for size in count_entry.EYE_CLASSES]


def whole_field(label: str, *, least: int = 0, **kwargs: Any) -> forms.IntegerField:
    """Return a field for a number of animals."""
    return forms.IntegerField(label=label, min_value=least, max_value=MOST_ANIMALS, **kwargs)


def measure_field(label: str, **kwargs: Any) -> forms.DecimalField:
    """Return a field for a weight, a volume or a factor."""
    return forms.DecimalField(label=label, min_value=Decimal("0.001"), max_digits=10, decimal_places=3, **kwargs)


class CountForm(PlainForm, forms.Form):
    """What every way of counting asks: which stage, when, and a note."""

    method = ""
    usual_stage = "young"
    stage = forms.ChoiceField(label="Which", choices=STAGES, initial="young", widget=forms.RadioSelect)
    happened_at = WhenField()
    note = forms.CharField(label="Note", required=False, max_length=200)
    photo = photo_field()
    shown = forms.CharField(required=False, widget=forms.HiddenInput)

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        last = ("happened_at", "note", "photo", "shown")
        self.order_fields([*(name for name in self.fields if name not in last), *last])

    @property
    def given(self) -> dict[str, Any]:
        """Return what was typed, as the ledger keeps it."""
        return {}

    @property
    def sexed(self) -> Sexed | None:
        """Return the sexes, where they were counted."""
        return None

    @property
    def takes_sexes(self) -> bool:
        """Return whether this way of counting may be given by sex."""
        return any(isinstance(field, AnimalsField) for field in self.fields.values())

    @property
    def fingerprint(self) -> str:
        """Return a short digest of the values: only what was shown is saved."""
        values = json.dumps([self.method, self.cleaned_data["stage"], self.given, str(self.sexed)], sort_keys=True)
        return hashlib.sha256(values.encode()).hexdigest()[:16]

    @property
    def was_shown(self) -> bool:
        """Return whether these are the values whose effect was shown."""
        return bool(self.cleaned_data["shown"] == self.fingerprint)


class EyeForm(CountForm):
    """A guess by eye."""

    method = "eye"
    eye = forms.ChoiceField(label="By eye", choices=EYE_CHOICES, widget=forms.RadioSelect)

    @property
    def given(self) -> dict[str, Any]:
        return dict(count_entry.eye_class(self.cleaned_data["eye"]))


class HandForm(CountForm):
    """Counted one by one."""

    method = "hand"
    counted = AnimalsField(
        label="Counted",
        least=0,
        help_text="A number such as 45. For adults also males.females.unsexed, such as 3.4.10.",
    )
    missed = forms.IntegerField(
        label="Missed, in 100",
        required=False,
        min_value=0,
        max_value=90,
        help_text="How many of 100 stay hidden when you count so. Left empty: none.",
    )

    @property
    def sexed(self) -> Sexed | None:
        counted = self.cleaned_data["counted"]
        return counted if isinstance(counted, Sexed) else None

    @property
    def given(self) -> dict[str, Any]:
        counted = self.cleaned_data["counted"]
        number = counted.counted if isinstance(counted, Sexed) else counted
        missed = self.cleaned_data["missed"] or 0
        return {"counted": number} | ({"missed_share": missed / 100} if missed else {})


class FullSortForm(HandForm):
    """Every animal picked out of the substrate."""

    method = "full_sort"


class PortionsForm(CountForm):
    """Portions of the substrate, by volume or by weight."""

    method = "portions"
    counts = NumbersField(label="Animals in each portion", whole=True, help_text="Such as 9 14 6 11.")
    sizes = NumbersField(label="Size of a portion", whole=False, help_text="One number if all are alike, such as 50.")
    whole = measure_field("Size of the whole", help_text="All the substrate, in the same unit: ml, g or scoops.")
    visible = whole_field("In clusters, counted whole", required=False, help_text="Taken off before the portions.")

    def clean(self) -> dict[str, Any]:
        cleaned = super().clean() or {}
        counts, sizes = cleaned.get("counts"), cleaned.get("sizes")
        if counts and sizes and len(sizes) not in (1, len(counts)):
            self.add_error(
                "sizes",
                f"There are {len(counts)} portions but {len(sizes)} sizes. Give one size for all, or one for each.",
            )
        return cleaned

    @property
    def given(self) -> dict[str, Any]:
        data = self.cleaned_data
        sizes = data["sizes"] if len(data["sizes"]) > 1 else data["sizes"] * len(data["counts"])
        given = {"counts": data["counts"], "sizes": sizes, "whole": float(data["whole"])}
        return given | ({"visible": data["visible"]} if data["visible"] else {})


class PieceForm(CountForm):
    """Under one piece of bark, times the keeper's factor."""

    method = "piece"
    seen = whole_field("Seen under one piece")
    factor = measure_field("Times", help_text="How many times as many the whole tub holds, from your own sorts.")

    @property
    def given(self) -> dict[str, Any]:
        return {"seen": self.cleaned_data["seen"], "factor": float(self.cleaned_data["factor"])}


class ShelterForm(CountForm):
    """Seen at one shelter or bait, by the share that a trial with a known number showed there."""

    method = "index"
    seen = whole_field("Seen there today")
    trial_known = whole_field("In your trial there were", least=1, help_text="A number that you knew to be in the tub.")
    trial_seen = whole_field("Of them seen there")

    @property
    def given(self) -> dict[str, Any]:
        return {name: self.cleaned_data[name] for name in ("seen", "trial_seen", "trial_known")}


class AfterSaleForm(CountForm):
    """The same look at a shelter or bait before and after animals were taken out."""

    method = "after_sale"
    index_before = whole_field("Seen before", least=1)
    index_after = whole_field("Seen after, in the same way")
    removed = whole_field("Taken out in between", least=1, help_text="Already in the book as packed, moved or culled.")

    @property
    def given(self) -> dict[str, Any]:
        return {name: self.cleaned_data[name] for name in ("index_before", "index_after", "removed")}


class BySexesForm(CountForm):
    """The sexes seen before and after more of one sex were taken out."""

    method = "by_sexes"
    usual_stage = "adults"
    before = SexesField(label="Sexed before", help_text="As they came: males.females, such as 20.20.")
    after = SexesField(label="Sexed after, in the same way")
    taken = SexesField(label="Taken out in between", help_text="Already in the book as packed, moved or culled.")

    @property
    def given(self) -> dict[str, Any]:
        looks = {name: self.cleaned_data[name] for name in ("before", "after", "taken")}
        return {name: {"males": sexed.males, "females": sexed.females} for name, sexed in looks.items()}


class WeightForm(CountForm):
    """All animals weighed, against a counted sample."""

    method = "weight"
    sample_count = whole_field("Animals in the sample", least=1)
    sample_g = measure_field("Sample, g")
    whole_g = measure_field("All animals, g", help_text="Free of substrate, the sample among them.")

    @property
    def given(self) -> dict[str, Any]:
        data = self.cleaned_data
        sample_g, whole_g = float(data["sample_g"]), float(data["whole_g"])
        return {"sample_count": data["sample_count"], "sample_g": sample_g, "whole_g": whole_g}


class RemovalForm(CountForm):
    """Caught out in passes, each as thorough as the one before."""

    method = "removal"
    catches = NumbersField(label="Caught in each pass", whole=True, help_text="Such as 38 26 12.")

    @property
    def given(self) -> dict[str, Any]:
        return {"catches": self.cleaned_data["catches"]}


class MarkedForm(CountForm):
    """Marked, let go, and caught again."""

    method = "marked"
    marked = whole_field("Marked and let go", least=1)
    caught = whole_field("Caught later", least=1)
    marked_caught = whole_field("Of them marked")

    @property
    def given(self) -> dict[str, Any]:
        return {name: self.cleaned_data[name] for name in ("marked", "caught", "marked_caught")}


COUNT_FORMS: dict[str, type[CountForm]] = {
    form.method: form
    for form in (
        EyeForm,
        HandForm,
        FullSortForm,
        PortionsForm,
        PieceForm,
        ShelterForm,
        WeightForm,
        RemovalForm,
        MarkedForm,
        AfterSaleForm,
        BySexesForm,
    )
}
# A count before and after a sale nearly always says nothing, so no page offers it; a phone may still send one.
OFFERED = tuple(name for name in COUNT_FORMS if name != "after_sale")


class WhenForm(PlainForm, forms.Form):
    """When will so many be there to sell?"""

    wanted = whole_field("How many", least=1, initial=12, widget=forms.NumberInput(attrs={"class": "short"}))
    stage = forms.ChoiceField(label="Which", choices=STAGES, initial="young")


class CareForm(PlainForm, forms.Form):
    """What was done for a whole shelf."""

    shelf = forms.ChoiceField(label="Shelf", widget=forms.RadioSelect)
    did = forms.MultipleChoiceField(
        label="Done", choices=[(name, name) for name in CARED], widget=forms.CheckboxSelectMultiple
    )
    happened_at = WhenField()
    note = forms.CharField(label="Note", required=False, max_length=200)

    def __init__(self, *args: Any, shelves: list[str], **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.fields["shelf"].choices = [(shelf, shelf) for shelf in shelves]  # type: ignore[attr-defined]
