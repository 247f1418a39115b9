"""Write to a buyer whose box waits for the weather: the promised date, the new day, and the right to cancel."""

from dataclasses import dataclass
from datetime import date
from urllib.parse import quote

from breeder.base.models import Setting
from breeder.core.thermal.verdict import LEAVING
from breeder.shipments.models import Check, Parcel

# 16 CFR 435.2(b) (US mail, internet or telephone order rule): an example, to be checked for the keeper's own case.
RULE = (
    "An example to be checked for your own case: in the United States 16 CFR 435.2 asks that a buyer whose order will "
    "leave later than promised is told so, with a new date and the choice to cancel and be paid back, before the "
    "promised date has passed. Elsewhere other rules hold."
)

# Without a new day the order stays open this long after the promised day; then it ends unless the buyer agrees to wait
# (16 CFR 435.2(b)(1)(iii), from memory).
OPEN_FOR_DAYS = 30


@dataclass(frozen=True)
class Notice:
    """The text to copy, a link that opens it in the mail program, and the rule it follows."""

    text: str
    mailto: str
    rule: str = RULE


def day_for_buyer(parcel: Parcel, check: Check | None, today: date) -> date | None:
    """Return the day to tell the buyer: one with Go in the last check and not past; else None."""
    day = None if check is None else _go_day(parcel, check)
    return day if day and day >= today else None


def _go_day(parcel: Parcel, check: Check) -> date | None:
    if check.verdict in LEAVING:
        is_same_day = parcel.post_on is not None and check.inputs.get("post_on") == parcel.post_on.isoformat()
        return parcel.post_on if is_same_day else None
    later = check.result.get("next_day")
    return date.fromisoformat(later["on"]) if later else None


def buyer_notice(parcel: Parcel, check: Check | None, household: Setting, today: date) -> Notice:
    """Return the notice for a box by its last check."""
    order = parcel.order
    text = notice_text(
        order.person.name,
        order.number,
        promised_by=order.promised_by,
        new_day=day_for_buyer(parcel, check, today),
        trade_name=household.trade_name,
    )
    subject = f"Your order {order.number} waits for the weather"
    email = order.person.email
    mailto = f"mailto:{quote(email)}?subject={quote(subject)}&body={quote(text)}" if email else ""
    return Notice(text, mailto)


def notice_text(
    name: str, order_number: int, *, promised_by: date | None, new_day: date | None, trade_name: str
) -> str:
    """Return the notice in plain words."""
    promised = f" It was promised to leave by {_day(promised_by)}." if promised_by else ""
    if new_day is None:
        when = "I do not know the new day yet; I look at the forecast every day and write as soon as I do."
        within = f"{OPEN_FOR_DAYS} days of the promised day" if promised_by else f"{OPEN_FOR_DAYS} days from today"
        silence = f"If it cannot leave within {within} and I have not heard from you, I cancel it and pay you back."
    else:
        when = f"By the present forecast it can leave on {_day(new_day)}; if the weather changes again I write again."
        silence = "If you are content to wait, please say so in a word."
    return (
        f"Dear {name},\n\n"
        f"your order {order_number} is ready, but the weather on its way would harm the animals, so I hold it."
        f"{promised} {when}\n\n"
        "You need not wait: if you would rather cancel, tell me before it leaves and you get back all that you paid, "
        f"postage too. {silence}\n\n"
        f"{trade_name}\n"
    )


def _day(on: date) -> str:
    return f"{on:%A %-d %B %Y}"
