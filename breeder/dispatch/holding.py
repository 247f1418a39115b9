"""What to write to a buyer whose box waits for the weather: the promised date, the new day, and the right to cancel."""

from dataclasses import dataclass
from datetime import date
from typing import Any
from urllib.parse import quote

from breeder.house.models import Setting
from breeder.packing.models import Parcel

# 16 CFR 435.2(b) (US mail, internet or telephone order rule): an example, to be checked for the keeper's own case.
RULE = (
    "An example to be checked for your own case: in the United States 16 CFR 435.2 asks that a buyer whose order will "
    "leave later than promised is told so, with a new date and the choice to cancel and be paid back, before the "
    "promised date has passed. Elsewhere other rules hold."
)


@dataclass(frozen=True)
class Notice:
    """The text to copy, a link that opens it in the mail program, and the rule it follows."""

    text: str
    mailto: str
    rule: str = RULE


def notice_of(parcel: Parcel, next_day: dict[str, Any] | None, household: Setting) -> Notice:
    """Return the notice for a box; `next_day` is what its last check found, if it looked."""
    order = parcel.order
    later = date.fromisoformat(next_day["on"]) if next_day else None
    text = hold_text(
        order.person.name,
        order.number,
        promised_by=order.promised_by,
        new_day=later or parcel.post_on,
        trade_name=household.trade_name,
    )
    subject = f"Your order {order.number} waits for the weather"
    email = order.person.email
    mailto = f"mailto:{quote(email)}?subject={quote(subject)}&body={quote(text)}" if email else ""
    return Notice(text, mailto)


def hold_text(name: str, order_number: int, *, promised_by: date | None, new_day: date | None, trade_name: str) -> str:
    """Return the notice in plain words."""
    promised = f" It was promised to leave by {_day(promised_by)}." if promised_by else ""
    if new_day is None:
        when = "I do not know the new day yet; I look at the forecast every day and write as soon as I do."
    else:
        when = f"By the present forecast it can leave on {_day(new_day)}; if the weather changes again I write again."
    return (
        f"Dear {name},\n\n"
        f"your order {order_number} is ready, but the weather on its way would harm the animals, so I hold it."
        f"{promised} {when}\n\n"
        "You need not wait: if you would rather cancel, tell me before it leaves and you get back all that you paid, "
        "postage too. If you are content to wait, please say so in a word.\n\n"
        f"{trade_name}\n"
    )


def _day(on: date) -> str:
    return f"{on:%A %-d %B %Y}"
