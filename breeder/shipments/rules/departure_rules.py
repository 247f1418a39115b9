"""Pure rules for a box that is about to leave: its limits, the inputs of its check, and whether it may go."""

import hashlib
import json
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import date, datetime, timedelta
from typing import Any

from django.core.exceptions import ValidationError

from breeder.base.dates import weekday_said
from breeder.core.thermal.verdict import LEAVING, Limits, narrowest_limits
from breeder.core.units import degrees
from breeder.orders.models import Order
from breeder.orders.rules.order_status import OPEN, hold_ran_out
from breeder.shipments.models import Check, ParcelItem
from breeder.species.models import Species

# Keeper defaults (common practice, no source): a check is needed again after six hours; a forecast is old after a day
# (the US weather service lets its own grids lapse then) and is not used at all after two.
CHECK_GOOD_FOR = timedelta(hours=6)
FORECAST_GOOD_FOR = timedelta(hours=24)
FORECAST_LAPSES = timedelta(hours=48)

# What an input is called in the message that it changed.
NAMES = {
    "contents": "the contents",
    "kit": "the kit",
    "service": "the service",
    "way": "where it is delivered",
    "origin": "your own place",
    "destination": "the address",
    "post_on": "the day",
    "closures": "its carrier's closures",
    "limits": "what the animals bear",
    "tolerance": "the odds you allow",
    "model": "how this program computes odds",
}
FIRST_MODEL = 1  # of checks that did not store it yet


class DepartureRefused(ValidationError):
    """A refusal in whole sentences: the box cannot be checked, sent or unpacked in its current state."""


DAY_PAST = "The day it was to be handed over is past. Choose a new day and check again."


class MayNotLeave(ValidationError):
    """The box may not leave: one sentence for every reason."""

    def __init__(self, sentences: Sequence[str]) -> None:
        self.sentences = tuple(sentences)
        super().__init__([ValidationError(sentence, code="may_not_leave") for sentence in self.sentences])


class LegalBlock(MayNotLeave):
    """The box may not go there, or not by this carrier; no reason overrides that."""

    NO_OVERRIDE = "Nobody can send it against that; it is not the weather."

    def __init__(self, sentences: Sequence[str]) -> None:
        super().__init__((*sentences, self.NO_OVERRIDE))


@dataclass(frozen=True)
class LeaveDecision:
    """Whether a box may leave now: the verdict's objection, and all others."""

    verdict: str
    others: tuple[str, ...]

    @property
    def sentences(self) -> tuple[str, ...]:
        """Return every reason against it."""
        return ((self.verdict,) if self.verdict else ()) + self.others

    @property
    def is_free(self) -> bool:
        return not self.sentences


def species_limits(species: Species) -> Limits:
    """Return what a species tolerates inside the box."""
    return Limits(
        float(species.comfort_low_c),
        float(species.comfort_high_c),
        float(species.hours_allowed),
        float(species.hard_low_c),
        float(species.hard_high_c),
    )


def box_limits(kinds: Sequence[Species], *, fahrenheit: bool = False) -> Limits:
    """Return the limits of a mixed box: the narrowest. Raises DepartureRefused if the species cannot share a box."""
    if not kinds:
        raise DepartureRefused(
            "The box is empty, so there is nothing to check. Plan what goes into it first.", code="empty"
        )
    try:
        return narrowest_limits([species_limits(species) for species in kinds])
    except ValueError:
        coolest = min(kinds, key=lambda species: species.comfort_high_c)
        warmest = max(kinds, key=lambda species: species.comfort_low_c)
        raise DepartureRefused(
            f"{warmest} wants at least {degrees(warmest.comfort_low_c, fahrenheit=fahrenheit)} and {coolest} at most "
            f"{degrees(coolest.comfort_high_c, fahrenheit=fahrenheit)}, so they cannot share a box. Take one of them "
            "out and plan a second box for it.",
            code="two_boxes",
        ) from None


def inputs_digest(inputs: Mapping[str, Any]) -> str:
    """Return the digest of a check's inputs; their order does not matter."""
    return hashlib.sha256(json.dumps(inputs, sort_keys=True, ensure_ascii=False).encode()).hexdigest()


def draw_seed(parcel_number: int, service_id: int, post_on: date) -> int:
    """Return the seed of a box, service and day, so that a repeated check draws the same journeys."""
    named = f"{parcel_number}/{service_id}/{post_on.isoformat()}".encode()
    return int.from_bytes(hashlib.sha256(named).digest()[:8]) >> 1


def changed_inputs(before: Mapping[str, Any], now: Mapping[str, Any]) -> list[str]:
    """Return the names of inputs that changed since the check; inputs that an old check did not store do not count."""
    if "model" in now:
        before = {"model": FIRST_MODEL} | dict(before)
    return [label for name, label in NAMES.items() if before.get(name, now.get(name)) != now.get(name)]


def may_leave(
    check: Check | None,
    inputs_now: Mapping[str, Any],
    now: datetime,
    today: date,
    *,
    good_for: timedelta = CHECK_GOOD_FOR,
    handed_over: bool = False,
) -> LeaveDecision:
    """Return whether a box may leave by its last check: the right verdict, for its current inputs, and still fresh.

    `handed_over`: it leaves right now, so today must be the day that it was checked for.
    """
    if check is None:
        return LeaveDecision("", ("The box was never checked. Check it first.",))
    verdict = "" if check.verdict in LEAVING else f"The check says {check.get_verdict_display()}: {check.reason}"
    reasons = []
    post_on = inputs_now.get("post_on")
    # This comes first: with another day everything else changes.
    if is_past := bool(post_on and date.fromisoformat(post_on) < today):
        reasons.append(DAY_PAST)
    if check.digest != inputs_digest(inputs_now):
        what = _listed(changed_inputs(check.inputs, inputs_now)) or "something"
        reasons.append(f"Since the check {what} changed, so it no longer speaks for this box. Check it again.")
    if now - check.made_at >= good_for:
        reasons.append(
            f"The check is {_hours(now - check.made_at)} old and was good for {_hours(good_for)}. Check it again."
        )
    if check.forecast_issued_at is not None and now - check.forecast_issued_at >= FORECAST_GOOD_FOR:
        reasons.append(
            f"The forecast behind it was issued {_hours(now - check.forecast_issued_at)} ago; after "
            f"{_hours(FORECAST_GOOD_FOR)} it is too old to post on. Send in newer hours and check again."
        )
    if post_on and not is_past and handed_over and date.fromisoformat(post_on) != today:
        reasons.append(
            f"It was checked for {weekday_said(date.fromisoformat(post_on))}, and today is {weekday_said(today)}. "
            "Hand it over on its own day, or choose today as its day and check again."
        )
    return LeaveDecision(verdict, tuple(reasons))


def order_ended(order: Order, now: datetime) -> str:
    """Return that a box's order holds no animals any more; empty while it does."""
    if order.status in (*OPEN, Order.Status.SENT) and not hold_ran_out(order, now):
        return ""
    if order.status == Order.Status.CANCELLED:
        return f"Order {order.number} was cancelled, so nobody waits for this box. Take it apart."
    return (
        f"The hold of order {order.number} ran out unpaid, so its animals are promised to nobody. Hold the order "
        "again, or take this box apart."
    )


def include_order(leave: LeaveDecision, order: Order, now: datetime) -> LeaveDecision:
    """Return whether a box may leave, with its order taken into account."""
    ended = order_ended(order, now)
    return replace(leave, others=(ended, *leave.others)) if ended else leave


def good_until(check: Check) -> datetime:
    """Return until when a check may be used: for six hours, or until its forecast is a day old."""
    until = check.made_at + CHECK_GOOD_FOR
    if check.forecast_issued_at is None:
        return until
    return min(until, check.forecast_issued_at + FORECAST_GOOD_FOR)


def other_day_texts(post_on: date | None, today: date) -> list[str]:
    """Return a note if a box is handed over on another day than it was checked for."""
    if post_on is None or post_on == today:
        return []
    return [
        f"It was checked for {weekday_said(post_on)} and was sent on {weekday_said(today)}: its odds were computed "
        "for another day."
    ]


def still_owed(agreed: int, packed: int) -> int:
    """Return how many of the agreed animals have not been packed; extras are never owed."""
    return max(0, agreed - packed)


def packed_difference_texts(items: Iterable[ParcelItem]) -> list[str]:
    """Return a sentence for each item packed in another number than planned."""
    return [
        f"{item.packed} of {item.order_line.offer.line} went in, {item.planned} "
        f"{'was' if item.planned == 1 else 'were'} planned."
        for item in items
        if item.packed is not None and item.packed != item.planned
    ]


def refuse_override(reason: str, *, is_keeper: bool) -> None:
    """Raise DepartureRefused unless the keeper gives a written reason for sending against the weather."""
    if not is_keeper:
        raise DepartureRefused(
            "Only the keeper may send a box against the weather. Ask them.", code="override_by_helper"
        )
    if len(reason.split()) < 2:
        raise DepartureRefused(
            "Sending against the check needs a reason in words, which is kept with the box. Write why.",
            code="override_reason",
        )


def _hours(span: timedelta) -> str:
    hours = int(span.total_seconds() // 3600)
    return "1 hour" if hours == 1 else f"{hours} hours"


def _listed(names: Sequence[str]) -> str:
    return " and ".join([", ".join(names[:-1]), names[-1]] if len(names) > 1 else names)
