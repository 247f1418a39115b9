"""Forms of a box's page: check, pack, send, take apart."""

from collections.abc import Iterator
from typing import Any

from django import forms

from breeder.house.sentences import PlainForm
from breeder.packing.forms import MOST_ANIMALS
from breeder.packing.models import Parcel


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
