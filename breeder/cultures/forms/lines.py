"""Forms of a line: what must stay of it, and that it is frozen."""

from typing import Any

from django import forms
from django.core.validators import MaxValueValidator

from breeder.base.edit_conflicts import SeenForm
from breeder.base.form_messages import PlainForm
from breeder.cultures.actions.minimums import GENETICS, KEPT
from breeder.species.forms import MOST_KEPT
from breeder.species.models import Line


class FreezeForm(PlainForm, forms.Form):
    """Why a line is frozen."""

    because = forms.CharField(label="Frozen, because", max_length=160, help_text="Such as “only 31 adults are left”.")


class EndFreezeForm(PlainForm, forms.Form):
    """Why a freeze ends."""

    reason = forms.CharField(label="Why it may give again", max_length=160, help_text="Kept in the log.")


class MinimumForm(SeenForm, PlainForm, forms.ModelForm):
    """How many of a line must stay."""

    reason = forms.CharField(
        label="Why", required=False, max_length=400, help_text="Needed when a number is lowered; kept in the log."
    )

    class Meta:
        model = Line
        fields = (
            "adults_kept", "young_kept", "each_sex_kept", "genetics_bind", "inbreeding_limit", "horizon_years",
            "effective_share",
        )  # fmt: skip
        help_texts = {
            "genetics_bind": "Then the adults that stay are at least the number that genetics advises.",
            "inbreeding_limit": "0.10 is 10 %. Judgement, no source.",
            "effective_share": "0.30 for a steady tub (judgement); in the wild 0.10 on average (Frankham 1995).",
        }

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        for name in GENETICS:
            self.fields[name].required = False  # left empty it stays as it is
        for name in KEPT:
            self.fields[name].validators.append(MaxValueValidator(MOST_KEPT))

    @property
    def kept(self) -> dict[str, Any]:
        """Return the numbers that stay, and why where one was lowered."""
        return {name: self.cleaned_data[name] for name in (*KEPT, "reason")}

    @property
    def genetics(self) -> dict[str, Any]:
        """Return what the genetic number is worked out from."""
        return {name: self.cleaned_data[name] for name in GENETICS if self.cleaned_data[name] is not None}
