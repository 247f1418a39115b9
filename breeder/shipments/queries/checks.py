"""Read checks and the status of every box that is here, in a fixed number of queries."""

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from datetime import date, datetime

from django.db.models import Max
from django.utils import timezone

from breeder.base.models import Setting
from breeder.base.queries import household as read_household
from breeder.carriers.queries import closures_by_carrier
from breeder.core.compliance.facts import NOTHING, RulebookAnswer
from breeder.core.thermal.verdict import LEAVING
from breeder.shipments import legal_block
from breeder.shipments.check_inputs import box_inputs
from breeder.shipments.models import Check, Parcel
from breeder.shipments.queries.parcels import parcels, parcels_here
from breeder.shipments.rules import departure_rules


@dataclass(frozen=True)
class BoxStatus:
    """The status of a box: whether its last check still holds. An outdated check gives `verdict` not decided."""

    parcel: Parcel
    check: Check | None
    verdict: str
    leave: departure_rules.LeaveDecision
    comfort: float | None
    hard: float | None
    kit_name: str
    legal: RulebookAnswer = NOTHING

    @property
    def may_leave(self) -> bool:
        """Return whether neither its check nor a rule keeps the box here."""
        return self.leave.is_free and not self.legal.blocks

    @property
    def good_until(self) -> datetime | None:
        """Return until when the check may be used; None without one."""
        return None if self.check is None else departure_rules.good_until(self.check)

    @property
    def is_changed(self) -> bool:
        """Return whether the last check no longer holds for this box."""
        return self.check is not None and self.verdict != self.check.verdict


def parcel(number: int) -> Parcel:
    """Return a box with everything its page reads. Raises Parcel.DoesNotExist."""
    return parcels().get(number=number)


def latest_checks(parcel_ids: Iterable[int]) -> dict[int, Check]:
    """Return the last check of each box that has one."""
    newest = Check.objects.filter(parcel__in=list(parcel_ids)).values("parcel").annotate(last=Max("id")).values("last")
    return {check.parcel_id: check for check in Check.objects.filter(pk__in=newest).select_related("by")}


def box_status(
    box: Parcel,
    check: Check | None,
    household: Setting,
    now: datetime,
    on_record: RulebookAnswer = NOTHING,
    closures: Mapping[str, Iterable[date]] | None = None,
) -> BoxStatus:
    """Return the status of a box by its last check; a check that no longer holds counts as not decided."""
    inputs = box_inputs(box, household, closures)
    leave = departure_rules.include_order(
        departure_rules.may_leave(check, inputs, now, timezone.localdate(now)), box.order, now
    )
    if check is None:
        return BoxStatus(box, None, Check.Verdict.NOT_DECIDED, leave, None, None, str(box.kit or ""), on_record)
    still = leave.is_free or check.verdict not in LEAVING
    changed = check.digest != departure_rules.inputs_digest(inputs)
    return BoxStatus(
        parcel=box,
        check=check,
        verdict=check.verdict if still and not changed else Check.Verdict.NOT_DECIDED,
        leave=leave,
        comfort=check.result["kit"]["comfort"]["failed"],
        hard=check.result["kit"]["hard"]["failed"],
        kit_name=str(box.kit) if box.kit else "",
        legal=on_record,
    )


def waiting(now: datetime | None = None) -> list[BoxStatus]:
    """Return the status of every box that is here, in order of its day."""
    at, household = now or timezone.now(), read_household()
    boxes = list(parcels_here())
    checks = latest_checks(box.pk for box in boxes)
    on_record, closures = legal_block.ask_boxes(boxes, at), closures_by_carrier()
    return [box_status(box, checks.get(box.pk), household, at, on_record[box.pk], closures) for box in boxes]


def to_check(today: date) -> list[int]:
    """Return the numbers of the boxes that are here and whose day is not past, in order of their day."""
    return [box.number for box in parcels_here() if box.post_on is None or box.post_on >= today]
