"""Forms of a tub's own page: changes, moves, beginning, splitting, closing, what it is for."""

from datetime import date
from typing import Any

from django import forms
from django.core.exceptions import ValidationError
from django.db.models import QuerySet

from breeder.base.edit_conflicts import ChangedMeanwhile, StampField, short
from breeder.base.form_messages import PlainForm
from breeder.cultures.actions.transfers import Animals
from breeder.cultures.actions.tubs import Place
from breeder.cultures.forms.counts import STAGES
from breeder.cultures.forms.fields import FIRST_YEAR, AnimalsField, WhenField, as_number, photo_field
from breeder.cultures.models import Culture, Entry, Stage
from breeder.species.models import Line

REASONS = [
    (Entry.Reason.DIED, "died"),
    (Entry.Reason.CULLED, "culled"),
    (Entry.Reason.RECEIVED, "received"),
    (Entry.Reason.RETURNED, "came back"),
]
SHARES = [("0.5", "about half"), ("0.333", "about a third"), ("0.25", "about a quarter"), ("", "counted animals")]
LONGEST_NOTE = 200


class TubChoice(forms.ModelChoiceField):
    """A tub by number and line."""

    def label_from_instance(self, tub: Any) -> str:
        return f"{tub.number} · {tub.line} · {tub.purpose}"


def named_field(line: Line, takes_out: str) -> forms.CharField:
    """Return the field in which the name of a frozen line is typed."""
    return forms.CharField(
        label=f"Name of the line{takes_out}",
        required=False,
        max_length=LONGEST_NOTE,
        strip=False,
        help_text=f"Frozen: {line.frozen_because.rstrip('.')}. Type “{line}” to go on.",
        widget=forms.TextInput(attrs={"autocomplete": "off", "autocapitalize": "none", "spellcheck": "false"}),
    )


class TubForm(PlainForm, forms.Form):
    """A form about one tub; it offers the stages that the tub's line is kept in."""

    def __init__(self, *args: Any, tub: Culture, **kwargs: Any) -> None:
        self.tub = tub
        super().__init__(*args, **kwargs)
        by_cup = tub.line.sold_by == Line.SoldBy.CUP
        if "stage" in self.fields:
            choices = [(Stage.CUPS.value, "cups")] if by_cup else STAGES
            self.fields["stage"].choices = choices  # type: ignore[attr-defined]
            self.fields["stage"].initial = choices[0][0]
        if tub.line.frozen_because:
            self.fields["named"] = named_field(tub.line, self.takes_out)

    # What of this form takes animals out of a frozen line, so that its name is asked for.
    takes_out = ""


class SeenTubForm(TubForm):
    """Refuses to write over what somebody else set of the tub since the page was opened, a crash perhaps."""

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.fields["seen"] = StampField(required=False)
        self._show(self.tub)

    def clean(self) -> dict[str, Any]:
        cleaned: dict[str, Any] = super().clean() or self.cleaned_data
        cleaned.pop("seen", None)
        return cleaned

    def refuse_if_changed(self) -> None:
        """Compare what the page showed with the tub as it is now, after the action's lock. Raises ChangedMeanwhile."""
        self._show(Culture.objects.get(pk=self.tub.pk))
        self.fields["seen"].is_compared = True  # type: ignore[attr-defined]
        stamp = self.fields["seen"].initial
        if self.data.get(self.add_prefix("seen"), stamp) != stamp:
            sentence = (
                f"This was changed since you opened this page; in the book it is now ‘{self.setting(self.tub)}’. What "
                "you typed is still here: check it, and save again if you want to keep it."
            )
            raise ChangedMeanwhile(sentence, code="changed_meanwhile")

    def setting(self, tub: Culture) -> str:
        """Return in words what is set of a tub; each form says its own."""
        raise NotImplementedError

    def _show(self, tub: Culture) -> None:
        """Take a tub as what the page shows from now on."""
        self.tub = tub
        self.fields["seen"].initial = short(self.setting(tub))


class ChangeForm(TubForm):
    """Animals that died, were culled, received, or came back."""

    takes_out = ", to cull from it"

    reason = forms.ChoiceField(label="What happened", choices=REASONS, widget=forms.RadioSelect)
    stage = forms.ChoiceField(label="Which", widget=forms.RadioSelect)
    number = AnimalsField(label="How many")
    happened_at = WhenField()
    note = forms.CharField(label="Note", required=False, max_length=LONGEST_NOTE)
    photo = photo_field()


class MoveForm(TubForm):
    """Animals carried into another tub."""

    takes_out = ", if they leave it"

    to = TubChoice(label="Into tub", queryset=Culture.objects.none(), empty_label="choose a tub")
    stage = forms.ChoiceField(label="Which", widget=forms.RadioSelect)
    number = AnimalsField(label="How many")
    happened_at = WhenField()
    note = forms.CharField(label="Note", required=False, max_length=LONGEST_NOTE)

    def __init__(self, *args: Any, others: QuerySet[Culture], **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.fields["to"].queryset = others  # type: ignore[attr-defined]


class MergeForm(TubForm):
    """The whole tub tipped into another."""

    into = TubChoice(label="Into tub", queryset=Culture.objects.none(), empty_label="choose a tub")
    happened_at = WhenField()
    note = forms.CharField(label="Note", required=False, max_length=LONGEST_NOTE)

    def __init__(self, *args: Any, others: QuerySet[Culture], **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.fields["into"].queryset = others  # type: ignore[attr-defined]


class PlaceFields(PlainForm, forms.Form):
    """Where a tub stands, and what it is for."""

    shelf = forms.CharField(label="Shelf", max_length=12, help_text="Such as A or 2.")
    place_on_shelf = forms.IntegerField(
        label="Place on the shelf", min_value=1, max_value=999, initial=1, help_text="The round goes in this order."
    )
    litres = forms.DecimalField(
        label="Size, litres", required=False, min_value=0, max_digits=5, decimal_places=1, max_value=999
    )
    purpose = forms.ChoiceField(label="What for", choices=Culture.Purpose.choices)
    quarantine_until = forms.DateField(
        label="Quarantine until", required=False, widget=forms.DateInput(attrs={"type": "date"}, format="%Y-%m-%d")
    )
    note = forms.CharField(label="Note", required=False, max_length=LONGEST_NOTE)

    @property
    def place(self) -> Place:
        """Return the place as the actions take it."""
        names = ("shelf", "place_on_shelf", "litres", "purpose", "quarantine_until", "note")
        return Place(**{name: self.cleaned_data[name] for name in names})

    def animals(self) -> tuple[Animals, ...]:
        """Return the animals typed, by stage; fields left empty are none."""
        animals = []
        for stage in (Stage.ADULTS.value, Stage.YOUNG.value):
            number, males, females = as_number(self.cleaned_data.get(stage))
            if number:
                animals.append(Animals(stage, number, males, females))
        return tuple(animals)


class NewTubForm(PlaceFields):
    """A tub that begins with animals from outside, or one that was there before this book."""

    line = forms.ModelChoiceField(label="Line", queryset=Line.objects.none(), empty_label="choose a line")
    adults = AnimalsField(
        least=0, label="Adults received", required=False, help_text="Left empty: the tub waits for its count."
    )
    young = AnimalsField(least=0, label="Young received", required=False, help_text="A number such as 12.")
    started_on = forms.DateField(
        label="Started on",
        required=False,
        widget=forms.DateInput(attrs={"type": "date"}, format="%Y-%m-%d"),
        help_text="Left empty it is today.",
    )
    field_order = ("line", "adults", "young", "shelf", "place_on_shelf", "litres", "purpose", "quarantine_until")

    def __init__(self, *args: Any, lines: QuerySet[Line], **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.fields["line"].queryset = lines  # type: ignore[attr-defined]

    def clean_started_on(self) -> date | None:
        """Refuse a year that is a slip, such as 0026."""
        on: date | None = self.cleaned_data["started_on"]
        if on is not None and on.year < FIRST_YEAR:
            raise ValidationError(f"‘Started on’ is in the year {on.year}. Check the year.", code="when")
        return on


class SplitForm(PlaceFields):
    """A new tub out of this one."""

    def __init__(self, *args: Any, tub: Culture, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        if tub.line.frozen_because:
            self.fields["named"] = named_field(tub.line, ", to show or mix the new tub")

    share = forms.ChoiceField(
        label="What goes over", choices=SHARES, required=False, widget=forms.RadioSelect, initial="0.5"
    )
    adults = AnimalsField(
        least=0, label="Adults counted over", required=False, help_text="Only when animals are counted over."
    )
    young = AnimalsField(least=0, label="Young counted over", required=False, help_text="A number such as 12.")
    happened_at = WhenField()
    field_order = ("share", "adults", "young", "shelf", "place_on_shelf", "litres", "purpose", "quarantine_until")

    @property
    def part(self) -> float | None:
        """Return the share tipped over; None when animals were counted over."""
        return float(self.cleaned_data["share"]) if self.cleaned_data["share"] else None


class CloseForm(TubForm):
    """The end of a tub."""

    reason = forms.CharField(label="Why", max_length=LONGEST_NOTE, help_text="Such as ‘died out’.")
    happened_at = WhenField()


class PurposeForm(SeenTubForm):
    """What a tub is for."""

    takes_out = ", to show or mix the tub"

    purpose = forms.ChoiceField(label="What for", choices=Culture.Purpose.choices, widget=forms.RadioSelect)
    quarantine_until = forms.DateField(
        label="Quarantine until", required=False, widget=forms.DateInput(attrs={"type": "date"}, format="%Y-%m-%d")
    )
    reason = forms.CharField(label="Why", required=False, max_length=LONGEST_NOTE)

    def setting(self, tub: Culture) -> str:
        until = tub.quarantine_until
        return f"{tub.purpose} until {until:%-d %B %Y}" if until else tub.purpose


class NotForSaleForm(SeenTubForm):
    """Keeps a tub out of what is sold."""

    because = forms.CharField(
        label="Not for sale, because",
        required=False,
        max_length=160,
        help_text="Left empty the tub is for sale again.",
    )

    def setting(self, tub: Culture) -> str:
        return tub.not_for_sale or "for sale"


class CrashForm(PlainForm, forms.Form):
    """That a tub crashed, and what was seen."""

    because = forms.CharField(
        label="What was seen", max_length=120, help_text="Such as “all dead after the heat mat failed”."
    )
    happened_at = WhenField()


class EndCrashForm(PlainForm, forms.Form):
    """Why a tub that crashed may give again."""

    reason = forms.CharField(label="Why it may give again", max_length=LONGEST_NOTE)


class CorrectForm(PlainForm, forms.Form):
    """Which entry is taken back, and where to go on."""

    entry = forms.IntegerField(widget=forms.HiddenInput, min_value=1, max_value=2**62)
    note = forms.CharField(label="What was wrong", required=False, max_length=LONGEST_NOTE)
