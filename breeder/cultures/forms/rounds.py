"""One stop of the round: a size class, what else was seen, what died, a note and a photo; or all well."""

from typing import Any

from django import forms

from breeder.base.form_messages import PlainForm
from breeder.cultures.actions.counts import LOOKED
from breeder.cultures.actions.rounds import Visit
from breeder.cultures.forms.counts import EYE_CHOICES, STAGES, whole_field
from breeder.cultures.forms.fields import photo_field
from breeder.cultures.models import Culture
from breeder.species.models import Line

# All well has its own button, and the dead have their number.
SEEN_CHOICES = [(name, name) for name in LOOKED if name not in ("well", "dead")]
LONGEST_NOTE = 200


class RoundForm(PlainForm, forms.Form):
    """One stop of the round."""

    stage = forms.ChoiceField(choices=STAGES, initial="young", required=False)
    eye = forms.ChoiceField(label="By eye", choices=EYE_CHOICES, required=False)
    seen = forms.MultipleChoiceField(label="Seen", choices=SEEN_CHOICES, required=False)
    died = whole_field("Dead, picked out", required=False)
    note = forms.CharField(label="Note", required=False, max_length=LONGEST_NOTE)
    photo = photo_field()

    def visit(self, tub: Culture, *, well: bool) -> Visit:
        """Return what was tapped for this tub; `well` says that the button for all well was."""
        data = self.cleaned_data
        stage = data["stage"] or "young"
        seen = ["well"] if well and not data["seen"] and not data["died"] else data["seen"]
        by_head = tub.line.sold_by == Line.SoldBy.HEAD
        return Visit(
            tub.pk,
            seen=tuple(seen),
            eye=((stage, data["eye"]),) if data["eye"] and not well else (),
            died=((stage, data["died"]),) if data["died"] and by_head else (),
            note=data["note"],
        )

    def typed(self) -> dict[str, Any]:
        """Return what is shown in the fields again."""
        return {name: self[name].value() or "" for name in ("eye", "died", "note")}
