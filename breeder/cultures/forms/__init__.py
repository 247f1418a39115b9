"""Forms of tubs, counts and lines; each answers in whole sentences and keeps what was typed."""

from django.core.exceptions import NON_FIELD_ERRORS, ValidationError
from django.forms import BaseForm

from breeder.cultures.forms.counts import COUNT_FORMS, CareForm, CountForm, WhenForm
from breeder.cultures.forms.fields import as_number
from breeder.cultures.forms.lines import EndFreezeForm, FreezeForm, MinimumForm
from breeder.cultures.forms.rounds import RoundForm
from breeder.cultures.forms.sheet import SheetForm, SheetRowForm
from breeder.cultures.forms.tubs import (
    ChangeForm,
    CloseForm,
    CorrectForm,
    CrashForm,
    EndCrashForm,
    MergeForm,
    MoveForm,
    NewTubForm,
    NotForSaleForm,
    PurposeForm,
    SplitForm,
)


def show_refusal(form: BaseForm, refusal: ValidationError) -> None:
    """Put a refusal beside the fields that it names, and above the form where the form has no such field."""
    if not hasattr(refusal, "error_dict"):
        form.add_error(None, refusal)
        return
    for name, errors in refusal.error_dict.items():
        known = name != NON_FIELD_ERRORS and name in form.fields
        form.add_error(name if known else None, ValidationError(errors))


__all__ = [
    "COUNT_FORMS",
    "CareForm",
    "ChangeForm",
    "CloseForm",
    "CorrectForm",
    "CountForm",
    "CrashForm",
    "EndCrashForm",
    "EndFreezeForm",
    "FreezeForm",
    "MergeForm",
    "MinimumForm",
    "MoveForm",
    "NewTubForm",
    "NotForSaleForm",
    "PurposeForm",
    "RoundForm",
    "SheetForm",
    "SheetRowForm",
    "SplitForm",
    "WhenForm",
    "as_number",
    "show_refusal",
]
