"""What a list of orders, or a form that a link opens, is asked for; anything else in the address is left aside."""

from collections.abc import Mapping
from dataclasses import dataclass

from breeder.orders.forms.new_order import PACKS
from breeder.orders.models import Order
from breeder.orders.rules.order_status import OPEN

LONGEST_ASKED = 80


@dataclass(frozen=True)
class OrderFilter:
    """Which orders are shown: of one status, open ones or all, and for people whose name holds some letters."""

    status: str
    who: str

    CHOICES = (("open", "open"), *Order.Status.choices, ("all", "all"))

    @classmethod
    def chosen(cls, asked: Mapping[str, str]) -> "OrderFilter":
        """Return the filter asked for in an address; the open orders where that is nothing known."""
        status = asked.get("status", "open")
        known = {value for value, _ in cls.CHOICES}
        who = asked.get("who", "").replace("\x00", "").strip()[:LONGEST_ASKED]
        return cls(status if status in known else "open", who)

    def said(self, number: int) -> str:
        """Return how many orders are shown and of which kind, as a sentence."""
        kind = "" if self.status == "all" else f"{dict(self.CHOICES)[self.status].lower()} "
        who = f" for “{self.who}”" if self.who else ""
        return f"{number} {kind}{'order' if number == 1 else 'orders'}{who}."

    @property
    def statuses(self) -> tuple[str, ...]:
        return {"open": tuple(OPEN), "all": ()}.get(self.status, (self.status,))


def packs_asked_for(asked: Mapping[str, str]) -> dict[str, int]:
    """Return what a link “sell this pack” puts into the form of a new order."""
    offer_id = asked.get("offer", "")
    return {f"{PACKS}{offer_id}": 1} if offer_id.isdecimal() else {}
