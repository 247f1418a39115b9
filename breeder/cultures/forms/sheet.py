"""A round sheet that was filled in by hand, typed in row by row as it lies on the desk."""

from datetime import date, datetime, time
from typing import Any

from django import forms
from django.utils import timezone

from breeder.base.form_messages import PlainForm
from breeder.cultures.actions.rounds import Visit
from breeder.cultures.forms.counts import EYE_CHOICES, whole_field
from breeder.cultures.forms.rounds import LONGEST_NOTE, SEEN_CHOICES
from breeder.cultures.models import Culture, Stage
from breeder.species.models import Line

NOON = time(12)  # of a sheet without an hour; its day is what is known
SHEET_SEEN = [("well", "well"), *SEEN_CHOICES]
STAGES = (Stage.ADULTS.value, Stage.YOUNG.value)


class SheetForm(PlainForm, forms.Form):
    """The day that stands on the sheet, and the hour if somebody wrote it."""

    on = forms.DateField(label="Day on the sheet", widget=forms.DateInput(attrs={"type": "date"}, format="%Y-%m-%d"))
    hour = forms.TimeField(
        label="Hour",
        required=False,
        help_text="Left empty it is noon.",
        widget=forms.TimeInput(attrs={"type": "time"}, format="%H:%M"),
    )

    def clean(self) -> dict[str, Any]:
        cleaned = super().clean() or {}
        on = cleaned.get("on")
        if on and (on > timezone.localdate() or self._at(on) > timezone.now()):
            self.add_error(
                "on", f"{on:%-d %B %Y} at this hour has not come yet. Give the day that stands on the sheet."
            )
        return cleaned

    @property
    def happened_at(self) -> datetime:
        """Return when the round was walked; a sheet of this very morning without an hour is of now."""
        return self._at(self.cleaned_data["on"])

    def _at(self, on: date) -> datetime:
        hour = self.cleaned_data.get("hour")
        at = timezone.make_aware(datetime.combine(on, hour or NOON))
        return at if hour else min(at, timezone.now())


class SheetRowForm(PlainForm, forms.Form):
    """One tub of the sheet; a row in which nothing is written writes nothing."""

    adults = forms.ChoiceField(label="Adults by eye", choices=EYE_CHOICES, required=False)
    young = forms.ChoiceField(label="Young by eye", choices=EYE_CHOICES, required=False)
    seen = forms.MultipleChoiceField(label="Seen", choices=SHEET_SEEN, required=False)
    died_adults = whole_field("Dead adults", required=False)
    died_young = whole_field("Dead young", required=False)
    note = forms.CharField(label="Note", required=False, max_length=LONGEST_NOTE)

    def __init__(self, *args: Any, tub: Culture, done: bool, **kwargs: Any) -> None:
        super().__init__(*args, prefix=f"tub{tub.number}", **kwargs)
        self.tub, self.done = tub, done
        self.by_head = tub.line.sold_by == Line.SoldBy.HEAD

    @property
    def about(self) -> str:
        """Return which row of the sheet this is."""
        return f"Tub {self.tub.number}"

    def visit(self) -> Visit | None:
        """Return what is written in the row; None for an empty one."""
        data = self.cleaned_data
        visit = Visit(
            self.tub.pk,
            seen=tuple(data["seen"]),
            eye=tuple((stage, data[stage]) for stage in STAGES if data[stage]),
            died=tuple((stage, data[f"died_{stage}"]) for stage in STAGES if data[f"died_{stage}"]),
            note=data["note"],
        )
        return visit if visit != Visit(self.tub.pk) else None

    @property
    def typed(self) -> dict[str, Any]:
        """Return what is shown in the row again."""
        return {name: self[name].value() or "" for name in self.fields} | {"seen": self["seen"].value() or []}
