"""Forms of a box's page: check, pack, send, take apart."""

from collections.abc import Iterator
from datetime import date
from typing import Any

from django import forms

from breeder.base.form_messages import PlainForm
from breeder.core.transit.schedule import Aim
from breeder.shipments.actions.bench import Choice
from breeder.shipments.forms.box_forms import MOST_ANIMALS
from breeder.shipments.models import Parcel


class CheckForm(PlainForm, forms.Form):
    """Nothing to type: the box is checked as it stands."""


class PackedForm(PlainForm, forms.Form):
    """What really went in, item by item, and what is known when the box is handed over."""

    tracking = forms.CharField(label="Tracking number", max_length=40, required=False)
    override_reason = forms.CharField(
        label="Send it against the check, because",
        max_length=400,
        required=False,
        widget=forms.Textarea(attrs={"rows": 2}),
        help_text="Kept with the box and in the log. Leave it empty unless you mean it.",
    )

    def __init__(self, *args: Any, parcel: Parcel, may_override: bool, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.items = list(parcel.items.all())
        for item in self.items:
            tub = f"tub {item.culture.number}" if item.culture else "no tub named"
            self.fields[f"packed_{item.pk}"] = forms.IntegerField(
                label=f"{item.order_line.offer.line}, {item.order_line.offer.stage}, {tub}",
                min_value=0,
                max_value=MOST_ANIMALS,
                initial=item.planned if item.packed is None else item.packed,
                help_text=f"{item.planned} planned",
            )
        if not may_override:
            del self.fields["override_reason"]

    def item_fields(self) -> Iterator[Any]:
        """Yield the number fields, for the page."""
        for item in self.items:
            yield self[f"packed_{item.pk}"]

    def packed(self) -> dict[int, int]:
        """Return {item: how many went in}."""
        return {item.pk: self.cleaned_data[f"packed_{item.pk}"] for item in self.items}


class UnpackForm(PlainForm, forms.Form):
    """What becomes of the promises of a box that is taken apart."""

    release = forms.BooleanField(
        label="Give the promised animals back for sale",
        required=False,
        help_text="Otherwise they stay promised to this order, and another box can be planned for it.",
    )


class BoardForm(PlainForm, forms.Form):
    """What the plan for all boxes is made for, and how many boxes a day can be packed."""

    MOST_A_DAY, USUAL_A_DAY = 200, 12

    by = forms.ChoiceField(
        label="Plan for",
        choices=[
            (Aim.EARLIEST, "the earliest Go"),
            (Aim.FEWEST, "the fewest packing days"),
            (Aim.CHEAPEST, "the cheapest kits"),
        ],
        initial=Aim.EARLIEST,
    )
    boxes = forms.IntegerField(label="Boxes a day", min_value=1, max_value=MOST_A_DAY, initial=USUAL_A_DAY)

    @classmethod
    def asked(cls, typed: Any) -> "BoardForm":
        """Return the form as asked for, or with the usual values before anything was."""
        usual = {"by": Aim.EARLIEST.value, "boxes": cls.USUAL_A_DAY}
        form = cls(usual | {name: typed[name] for name in usual if name in typed})
        form.is_valid()
        return form

    @property
    def aim(self) -> Aim:
        """Return what to plan for."""
        return Aim(self.cleaned_data.get("by") or Aim.EARLIEST)

    @property
    def boxes_a_day(self) -> int:
        """Return how many boxes a day."""
        return int(self.cleaned_data.get("boxes") or self.USUAL_A_DAY)


class BoardChoices(PlainForm, forms.Form):
    """Days and kits that are taken from the board, each as box:day:kit."""

    def __init__(self, posted: Any) -> None:
        super().__init__(posted)
        self.typed = posted.getlist("choose")

    def clean(self) -> dict[str, Any]:
        try:
            self.taken = [self._read(one) for one in self.typed]
        except ValueError:
            raise forms.ValidationError("What was sent names no box, day and kit. Choose on the board again.") from None
        if not self.taken:
            raise forms.ValidationError("Nothing was chosen. Choose a day of a box, or take the plan for all.")
        return super().clean() or self.cleaned_data

    def choices(self) -> list[Choice]:
        """Return what was chosen."""
        return self.taken

    @staticmethod
    def _read(typed: str) -> Choice:
        number, on, kit_id = typed.split(":")
        return Choice(int(number), date.fromisoformat(on), int(kit_id))
