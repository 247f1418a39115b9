"""What an order comes to, what is paid of it, and which payments are asked about before they are written down."""

from collections.abc import Sequence
from dataclasses import dataclass
from decimal import Decimal

from breeder.orders.models import OrderLine

NOTHING = Decimal("0.00")
# Digits on payment cards: ISO/IEC 7812-1, from memory.
SHORTEST_CARD, LONGEST_CARD = 13, 19


@dataclass(frozen=True)
class Bill:
    """What an order comes to, what was paid of it, and how many of its lines have no price yet.

    Of a cancelled order nothing is due.
    """

    goods: Decimal
    postage: Decimal
    paid: Decimal
    unpriced: int
    cancelled: bool = False

    @property
    def total(self) -> Decimal:
        """Return goods and postage; lines without a price are not in it."""
        return self.goods + self.postage

    @property
    def due(self) -> Decimal:
        """Return what is still to be paid; below 0 when more was paid than it comes to."""
        return NOTHING if self.cancelled else self.total - self.paid

    @property
    def is_settled(self) -> bool:
        """Return whether everything has a price and is paid."""
        return self.unpriced == 0 and self.due <= 0

    @property
    def never_runs_out(self) -> bool:
        """Return whether a hold never ends by itself: money is in it, or nothing is to be paid (a swap, a gift)."""
        return self.paid > 0 or (self.unpriced == 0 and self.total == 0)


def bill_of(lines: Sequence[OrderLine], postage: Decimal, paid: Sequence[Decimal], *, cancelled: bool = False) -> Bill:
    """Return what these lines come to and what is paid of it."""
    goods = sum((line.packs * line.price for line in lines if line.price is not None), NOTHING)
    unpriced = sum(1 for line in lines if line.price is None and line.packs and not cancelled)
    return Bill(goods, postage, sum(paid, NOTHING), unpriced, cancelled)


def in_words(bill: Bill, currency: str) -> str:
    """Return the bill as a sentence or two."""
    if bill.cancelled:
        paid = f"{bill.paid:.2f} {currency} was paid for it. Give back what was not sent, and write that down here."
        return paid if bill.paid > 0 else "Nothing is due."
    said = f"It comes to {bill.total:.2f} {currency}"
    if bill.unpriced:
        lines = "one line that has" if bill.unpriced == 1 else f"{bill.unpriced} lines that have"
        said += f", without {lines} no price yet"
    if bill.due < 0:
        return f"{said}. {bill.paid:.2f} {currency} was paid, {-bill.due:.2f} more than that."
    if not bill.paid:
        return f"{said}. Nothing is paid yet." if bill.total or bill.unpriced else f"{said}."
    if bill.due == 0:
        return f"{said}, and that is paid."
    return f"{said}. {bill.paid:.2f} {currency} is paid, {bill.due:.2f} is open."


def refuse_amount(bill: Bill, amount: Decimal, given_back: bool, more_is_meant: bool, currency: str) -> str:
    """Return why this payment is asked about; nothing when it may be written down."""
    if amount < 0:
        return "An amount is never below 0. To write down money that you gave back, choose “given back”."
    if amount == 0 and (given_back or bill.due > 0 or bill.unpriced):
        return "An amount of 0 settles only an order with nothing left to pay. Write what was paid."
    if given_back and amount > bill.paid:
        return (
            f"Only {bill.paid:.2f} {currency} was received for this order, so {amount:.2f} cannot have been given "
            f"back. Write {bill.paid:.2f} or less."
        )
    if not given_back and not bill.unpriced and amount > max(bill.due, NOTHING) and not more_is_meant:
        return (
            f"{amount:.2f} {currency} is more than the {max(bill.due, NOTHING):.2f} that is open. "
            "Check the amount; if it is right, tick “more than is due” and send it again."
        )
    return ""


def looks_like_card(text: str) -> bool:
    """Return whether a text holds a number as long as a payment card's that passes the cards' check digit.

    Source: ISO/IEC 7812-1 (Luhn check digit), from memory.
    """
    digits = [int(sign) for sign in text if sign.isascii() and sign.isdigit()]
    if not SHORTEST_CARD <= len(digits) <= LONGEST_CARD:
        return False
    doubled = [digit if place % 2 == 0 else sum(divmod(2 * digit, 10)) for place, digit in enumerate(reversed(digits))]
    return sum(doubled) % 10 == 0
