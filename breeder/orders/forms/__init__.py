"""Forms of packs, orders and payments."""

from breeder.orders.forms.existing_order import CancelForm, HoldForm, LinesForm, PaymentForm, money_due
from breeder.orders.forms.list_filters import OrderFilter, packs_asked_for
from breeder.orders.forms.new_order import PacksForm, TermsForm, WhoForm, starting_terms, terms_of
from breeder.orders.forms.offers import OfferForm

__all__ = [
    "CancelForm",
    "HoldForm",
    "LinesForm",
    "OfferForm",
    "OrderFilter",
    "PacksForm",
    "PaymentForm",
    "TermsForm",
    "WhoForm",
    "money_due",
    "packs_asked_for",
    "starting_terms",
    "terms_of",
]
