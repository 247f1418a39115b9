"""What the keeper does on packing day: check a box, pack it, send it, take it apart."""

import time
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime
from typing import Any

from django.core.exceptions import ValidationError
from django.db import transaction
from django.utils import timezone

from breeder.base.action_frame import NO_FORM, Sent, action
from breeder.base.models import Setting
from breeder.base.queries import household as read_household
from breeder.base.roles import is_keeper
from breeder.base.steps import log
from breeder.core.thermal.verdict import LEAVING
from breeder.core.transit import verdict_floor
from breeder.cultures import rules as surplus
from breeder.cultures.queries.stock import stock_by_line
from breeder.orders import steps as orders
from breeder.shipments import check_json, check_text, legal_block, run_check
from breeder.shipments.check_inputs import box_inputs, kit_facts
from breeder.shipments.check_json import CheckResult
from breeder.shipments.models import Check, Kit, Parcel
from breeder.shipments.queries import checks
from breeder.shipments.rules import departure_rules
from breeder.shipments.rules.box_rules import refuse_dry_ice, refuse_unless_here
from breeder.shipments.steps import box_steps as packing
from breeder.shipments.steps import departure_steps


@dataclass(frozen=True)
class Done:
    """A box as it now stands, what was done, and in sentences what that broke or left to do."""

    parcel: Parcel
    done: str
    sentences: tuple[str, ...] = ()


def check_parcel(number: int, *, by: Any, sent: Sent = NO_FORM) -> Check:
    """Ask whether a box may leave on its day and keep the answer; without a kit the best one is taken."""
    parcel, household, now = checks.parcel(number), read_household(), timezone.now()
    refuse_unless_here(parcel)
    run_check.refuse_unless_ready(parcel, household)
    asked = box_inputs(parcel, household), _kits_to_try(parcel)
    with transaction.atomic():
        places = departure_steps.places_of(parcel, household)
    # The sums are long and touch nothing, so they stand outside: nobody waits for them.
    found = run_check.check(parcel, household, places, now)
    return keep_check(number, asked, found, now, by=by, sent=sent)


@action(lock=packing.lock_parcel)
def keep_check(parcel: Parcel, asked: Any, found: CheckResult, now: datetime, *, by: Any) -> Check:
    """Keep what a check found, if what it was `asked` (the box, and the kits to try) is still so."""
    household = read_household()
    if (box_inputs(parcel, household), _kits_to_try(parcel)) != asked:
        raise departure_rules.DepartureRefused(
            f"Box {parcel.number} or a kit was changed while it was being checked. Check it again.", code="changed"
        )
    return _write_check(parcel, household, found, now, by)


def _kits_to_try(parcel: Parcel) -> list[Any]:
    """Return what the heat model knows of the kits that a box without one is tried in; one of them becomes its own."""
    return [] if parcel.kit else [kit_facts(kit) for kit in Kit.objects.filter(active=True).order_by("pk")]


def _write_check(parcel: Parcel, household: Setting, found: CheckResult, now: datetime, by: Any) -> Check:
    # The question as it was put, before a kit is taken: the same question is held to what was known before.
    last = Check.objects.filter(
        parcel=parcel, digest=departure_rules.inputs_digest(box_inputs(parcel, household))
    ).first()
    held = verdict_floor.apply_floor(found.chosen.verdict, found.content, check_json.last_verdict(last))
    if parcel.kit is None and held.verdict in LEAVING:
        parcel.kit = Kit.objects.prefetch_related("parts__supply").get(pk=found.chosen.candidate.kit_id)
        parcel.save(update_fields=["kit"])
    inputs = box_inputs(parcel, household)
    odds, because = check_text.odds_text(found.chosen.outcome), _because(found, household)
    because = [held.why, *because] if held.why else because
    reason = " ".join([odds, *because])
    check = Check.objects.create(
        parcel=parcel,
        made_at=now,
        by=by,
        verdict=held.verdict,
        reason=reason,
        digest=departure_rules.inputs_digest(inputs),
        forecast_issued_at=check_json.oldest_issue(found.ends, found.trial.cases),
        seed=departure_rules.draw_seed(parcel.number, parcel.service_id, parcel.post_on),
        inputs=inputs,
        result=check_json.check_as_json(found, odds, because, held.held_to),
    )
    log(
        "checked a box",
        str(parcel),
        f"Box {parcel.number} in {found.chosen.candidate.name}: {check.get_verdict_display()}. {reason}",
        by=by,
    )
    return check


def _because(found: CheckResult, household: Setting) -> list[str]:
    said = check_text.reason_texts(
        found.chosen, found.trial.cases, found.missing, found.ends.destination.zone, fahrenheit=household.fahrenheit
    )
    said += found.stand_ins
    said += [check_text.disagreement_text(one, fahrenheit=household.fahrenheit) for one in found.rivalries]
    best = found.trial.best
    if best is not None and best is not found.chosen and found.chosen.verdict not in LEAVING:
        said.append(f"{best.candidate.name} would be {Check.Verdict(best.verdict).label}: choose it instead.")
    return said


@dataclass(frozen=True)
class Checked:
    """Numbers of boxes whose turn did not come in time, and why others could not be checked."""

    left: tuple[int, ...]
    failed: tuple[str, ...]


def check_boxes(numbers: Sequence[int], *, until: float, by: Any, sent: Sent = NO_FORM) -> Checked:
    """Check boxes one after another, each by itself: at least one, and none after `until` (of time.monotonic)."""
    sent.refuse_spent()
    waiting, failed = list(numbers), []
    while waiting:
        try:
            check_parcel(waiting.pop(0), by=by)
        except ValidationError as refusal:
            failed += refusal.messages
        if time.monotonic() >= until:
            break
    checked = Checked(tuple(waiting), tuple(failed))
    with transaction.atomic(durable=True):
        sent.spend(checked)
    return checked


@action(lock=packing.lock_parcel)
def record_packed(parcel: Parcel, packed: Mapping[int, int], *, tracking: str = "", by: Any) -> Done:
    """Write down what really went into a box; a fact, so never refused. The answer says what keeps it here.

    A second sending of the same numbers changes nothing and is not logged.
    """
    refuse_unless_here(parcel)
    before = {item.pk: item.packed for item in parcel.items.all()}
    items = departure_steps.write_packed(parcel, packed)
    said = f"Box {parcel.number} is packed, {sum(item.packed or 0 for item in items)} in."
    if parcel.status == Parcel.Status.PACKED and before == {item.pk: item.packed for item in items}:
        said = f"Box {parcel.number} was packed already, with these numbers. Nothing changed."
    else:
        parcel.status, parcel.packed_at, parcel.by = Parcel.Status.PACKED, timezone.now(), by
        log("packed a box", str(parcel), said, by=by)
    parcel.tracking = tracking or parcel.tracking
    parcel.save(update_fields=["status", "packed_at", "by", "tracking"])
    on_record = legal_block.ask_boxes([parcel], timezone.now())[parcel.pk]
    kept_here = (*on_record.blocks, departure_rules.LegalBlock.NO_OVERRIDE) if on_record.blocks else ()
    return Done(parcel, said, (*departure_rules.packed_difference_texts(items), *kept_here))


def _lock_order_and_box(number: int, *_: Any, **__: Any) -> Parcel:
    orders.take_order(checks.parcel(number).order.number)
    return packing.lock_parcel(number)


@action(lock=_lock_order_and_box)
def send_parcel(
    parcel: Parcel, packed: Mapping[int, int], *, tracking: str = "", override_reason: str = "", by: Any
) -> Done:
    """Hand a box over: only by a check that still speaks for it, or by the keeper's own reason.

    Never with dry ice, and never where a rule of the book or a carrier's forbids it.

    What was really packed is recorded as it was, out of its tubs; the answer says what that breaks.
    """
    refuse_unless_here(parcel)
    now = timezone.now()
    _let_leave(parcel, override_reason, now, by)
    lines = {item.order_line.offer.line_id for item in parcel.items.all()}
    before = stock_by_line(lines)
    items = departure_steps.write_packed(parcel, packed)
    said = departure_rules.other_day_texts(
        parcel.post_on, timezone.localdate(now)
    ) + departure_rules.packed_difference_texts(items)
    said += departure_steps.write_ledger(items, at=now, by=by)
    parcel.status, parcel.sent_at, parcel.tracking, parcel.by = Parcel.Status.SENT, now, tracking, by
    parcel.packed_at = parcel.packed_at or now
    parcel.save(update_fields=["status", "sent_at", "tracking", "by", "packed_at"])
    said += departure_steps.close_promises(items, at=now)
    said += packing.take_supplies(parcel.kit)
    departure_steps.close_order(parcel.order, at=now)
    after = stock_by_line(lines)
    said += [sentence for line in lines for sentence in surplus.broken_by(before[line], after[line])]
    animals = sum(item.packed or 0 for item in items)
    done = f"Box {parcel.number} was sent in {parcel.kit} by {parcel.service}, {animals} in."
    log("sent a box", str(parcel), done, by=by)
    return Done(parcel, done, tuple(said))


def _let_leave(parcel: Parcel, override_reason: str, now: datetime, by: Any) -> None:
    """Raise MayNotLeave unless the box may leave; the keeper's reason stands against the weather and nothing else."""
    legal_block.refuse_blocked(parcel, timezone.localdate(now))
    if parcel.kit is None:
        raise departure_rules.MayNotLeave(
            [f"Box {parcel.number} has no kit yet. Choose in what it is packed, and check it."]
        )
    refuse_dry_ice(parcel.kit, [part.supply.name for part in parcel.kit.parts.all()])
    check = checks.latest_checks([parcel.pk]).get(parcel.pk)
    leave = departure_rules.may_leave(
        check, box_inputs(parcel, read_household()), now, timezone.localdate(now), handed_over=True
    )
    leave = departure_rules.include_order(leave, parcel.order, now)
    if leave.is_free:
        return
    if not override_reason.strip() or check is None:
        raise departure_rules.MayNotLeave(leave.sentences)
    departure_rules.refuse_override(override_reason, is_keeper=is_keeper(by))
    check.override_reason = override_reason.strip()
    check.save(update_fields=["override_reason"])
    log(
        "sent against the check",
        str(parcel),
        f"Box {parcel.number} leaves against its check: {' '.join(leave.sentences)}",
        by=by,
        reason=check.override_reason,
        facts={"check": check.pk},
    )


@action(lock=_lock_order_and_box)
def unpack_parcel(parcel: Parcel, *, release: bool = False, by: Any) -> Done:
    """Take a box apart that does not leave: what was in it goes to quarantine, its promises stay or are given back."""
    refuse_unless_here(parcel)
    now = timezone.now()
    items = list(parcel.items.all())
    lines = {item.order_line.offer.line_id for item in items}
    before = stock_by_line(lines)
    said = (
        departure_steps.to_quarantine(items, str(parcel), at=now, by=by)
        if parcel.status == Parcel.Status.PACKED
        else []
    )
    parcel.status, parcel.by = Parcel.Status.UNPACKED, by
    parcel.save(update_fields=["status", "by"])
    said += departure_steps.release_promises(items, at=now) if release else []
    if parcel.order.parcels.filter(status=Parcel.Status.SENT).exists():
        departure_steps.close_order(parcel.order, at=now)
    after = stock_by_line(lines)
    said += [sentence for line in lines for sentence in surplus.broken_by(before[line], after[line])]
    done = f"Box {parcel.number} was taken apart."
    log("unpacked a box", str(parcel), " ".join([done, *said]), by=by)
    return Done(parcel, done, tuple(said))
