"""Who is promised what, in the order paid, then made; and who would wait while a line is short."""

from collections.abc import Iterable
from dataclasses import dataclass

from breeder.core.reserve.allocation import CoveredPromise, PromiseToCover, cover_promises, shortage_text
from breeder.cultures.line_stock import StageStock
from breeder.cultures.models import Promise


@dataclass(frozen=True)
class Waiting:
    """The promises of one stage with what is there for each, and what can be done while it is short."""

    covered: tuple[CoveredPromise, ...]
    choices: tuple[str, ...]


def waiting_for(stage: StageStock, promises: Iterable[Promise]) -> Waiting:
    """Return the promises of a stage in their order, with what is there for each above the number kept back."""
    held = [promise for promise in promises if promise.stage == stage.stage]
    asked = [PromiseToCover(promise, promise.number, promise.made_at, promise.paid_at) for promise in held]
    due = stage.is_stale or stage.counted_on is None
    named = any(promise.culture_id for promise in held)
    return Waiting(cover_promises(asked, stage.lower - stage.kept_back), shortage_text(stage.short, due, named))
