"""Forms of tubs, counts and lines; each answers in whole sentences and keeps what was typed."""

from breeder.base.form_messages import show_refusal
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
