"""Short cuts of this room's tests: what the book relies on, and facts at a day."""

from datetime import UTC, datetime, timedelta
from typing import Any

from django.db import transaction
from django.utils import timezone

from breeder.cultures import steps
from breeder.cultures.line_stock import TubStock
from breeder.cultures.models import Belief, Culture, Promise
from breeder.cultures.queries.stock import stock_of

NOON = datetime(2026, 3, 1, 12, tzinfo=UTC)


def day(number: int) -> datetime:
    """Return noon, so many days after the first of March 2026 (the clock of the tests stands later)."""
    return NOON + timedelta(days=number)


def tub_stock(tub: Culture, stage: str = "young") -> TubStock:
    found = stock_of(tub.line_id).stages[stage].tub(tub.pk)
    assert found is not None, f"the book believes nothing of {tub}"
    return found


def lower(tub: Culture, stage: str = "young") -> int:
    return tub_stock(tub, stage).lower


def beliefs(tub: Culture) -> dict[str, Any]:
    """Return every stored value of a tub's beliefs but their row numbers."""
    rows = Belief.objects.filter(culture=tub).order_by("stage")
    return {
        row.stage: {name: value for name, value in vars(row).items() if name not in ("_state", "id")} for row in rows
    }


def promise(line_id: int, number: int, stage: str = "young", **values: Any) -> Promise:
    """Set animals aside without asking whether they can be spared."""
    with transaction.atomic():
        steps.lock_lines([line_id])
        return steps.set_aside(line_id, stage, number, at=timezone.now(), **values)
