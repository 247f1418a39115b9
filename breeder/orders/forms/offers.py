"""The form of a pack."""

from typing import Any

from django import forms
from django.db.models import Q

from breeder.base.edit_conflicts import SeenForm
from breeder.base.form_messages import PlainForm
from breeder.cultures.models import Stage
from breeder.orders.forms.fields import money_field
from breeder.orders.models import Offer
from breeder.orders.rules.packs import LARGEST_PACK, faults_of_pack, filled_pack
from breeder.species.models import Line

HOLDS = ("line", "kind", "stage", "number", "males", "females")
FIXED = "What the pack holds is fixed, since it was ordered before. To sell another pack, offer a new one."


class OfferForm(SeenForm, PlainForm, forms.ModelForm):  # type: ignore[type-arg]
    """A pack that a line is sold in."""

    class Meta:
        model = Offer
        fields = ("line", "kind", "number", "stage", "males", "females", "overcount", "price", "public", "active")
        labels = {
            "number": "How many in the pack",
            "stage": "Young or adults",
            "overcount": "Put in on top",
            "active": "Offered now",
        }
        help_texts = {
            "number": "Animals, or cups (empty: 1). For sexed animals leave it empty: males and females together.",
            "stage": "Asked only for starters. Sexes and showing females are told in adults.",
            "males": "Only for sexed animals: a pair is 1 male and 1 female, written 1.1.",
            "overcount": "Empty: 15 % rounded up, at least 1 (common practice, no source). Promised with the rest.",
            "price": "Empty: price on request.",
        }

    stage = forms.ChoiceField(choices=[(Stage.YOUNG, "young"), (Stage.ADULTS, "adults")], required=False)
    number = forms.IntegerField(required=False, min_value=1, max_value=LARGEST_PACK)
    males = forms.IntegerField(required=False, min_value=0, max_value=LARGEST_PACK)
    females = forms.IntegerField(required=False, min_value=0, max_value=LARGEST_PACK)
    overcount = forms.IntegerField(required=False, min_value=0, max_value=LARGEST_PACK)
    price = money_field("Price of one pack", required=False, min_value=0)

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        if not self.instance.pk:
            # Left empty they follow from the kind of pack; a 0 would be taken as meant.
            self.initial |= {"males": None, "females": None, "overcount": None}
        for name, field in self.fields.items():
            field.help_text = self.Meta.help_texts.get(name, field.help_text)
            field.label = self.Meta.labels.get(name, field.label)
        self.fields["kind"].choices = [("", "choose a kind"), *Offer.Kind.choices]  # type: ignore[attr-defined]
        self.fields["line"].empty_label = "choose a line"  # type: ignore[attr-defined]
        # A pack of a line that was closed since can still be withdrawn, and stays that line's.
        offered = ~Q(status=Line.Status.CLOSED) | Q(pk=self.instance.line_id)
        lines = Line.objects.filter(offered).select_related("species")
        self.fields["line"].queryset = lines  # type: ignore[attr-defined]
        if self.instance.pk and self.instance.order_lines.exists():
            self.fields["line"].queryset = Line.objects.filter(pk=self.instance.line_id)  # type: ignore[attr-defined]
            for name in HOLDS:
                self.fields[name].disabled = True
            self.fields["number"].help_text = FIXED

    def clean(self) -> dict[str, Any]:
        given = super().clean() or {}
        if "line" not in given or "kind" not in given:
            return given
        given |= filled_pack(given)
        for name, fault in faults_of_pack(given):
            if name not in self.errors:
                self.add_error(name, fault)
        return given
