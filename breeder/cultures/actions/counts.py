"""Counts, looks and care: what was seen in a tub and done for it, with nothing taken out."""

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from datetime import datetime
from typing import Any

from django.utils import timezone

from breeder.base.action_frame import action
from breeder.base.models import Photo
from breeder.cultures import count_entry, eye_bias, steps
from breeder.cultures.actions import line_lock
from breeder.cultures.actions.line_lock import LockedTubs, Recorded
from breeder.cultures.count_entry import BadFact
from breeder.cultures.models import Culture, Entry, Stage
from breeder.cultures.queries.stock import open_on_shelf

LOOKED = ("well", "young", "mancae", "pouches", "mould", "mites", "dry", "dead")
CARED = ("fed", "misted", "substrate")


@dataclass(frozen=True)
class Sexed:
    """A count in sex notation, males.females.unsexed."""

    males: int
    females: int
    unsexed: int

    @property
    def counted(self) -> int:
        return self.males + self.females + self.unsexed

    def __str__(self) -> str:
        return f"{self.males}.{self.females}.{self.unsexed}"


@action(lock=line_lock.lock_tub)
def record_count(
    locked: LockedTubs,
    stage: str,
    method: str,
    given: Mapping[str, Any],
    *,
    sexed: Sexed | None = None,
    seen: Iterable[str] = (),
    happened_at: datetime | None = None,
    note: str = "",
    photo: Photo | None = None,
    by: Any,
) -> Recorded:
    """Record one count of one stage of a tub, by any method; `sexed` goes with adults counted by hand.

    `seen` is what else was seen on that look; it stands and falls with the count.
    """
    kept = eye_bias.with_own_error(kept_values(stage, method, given, sexed), method, by)
    count = count_entry.newly_counted(method, kept)
    flags = check_choices("seen", seen, LOOKED) if seen else []
    tub = locked.first
    entry = steps.write_entry(
        tub,
        Entry.Kind.COUNT,
        stage=line_lock.check_stage(tub.line, stage),
        method=method,
        given=kept,
        estimate=count.estimate,
        lower=count.lower,
        log_sd=count.log_sd,
        shared_sd=count.shared_sd,
        males=sexed.males if sexed else None,
        females=sexed.females if sexed else None,
        happened_at=line_lock.check_time(tub, happened_at),
        note=note,
        photo=photo,
        by=by,
    )
    if flags:
        _looked(tub, flags, entry.happened_at, by, other_side=entry)
    eye_bias.follow(entry)
    return locked.recorded(entry)


def kept_values(stage: str, method: str, given: Mapping[str, Any], sexed: Sexed | None) -> dict[str, Any]:
    """Return what is kept of the typed values. Raises BadFact when sexes stand where they cannot."""
    if method in count_entry.OF_ADULTS and stage != Stage.ADULTS:
        raise BadFact({"stage": f"“{stage}” cannot be sexed, so this way counts adults. Choose adults."})
    if sexed is None:
        return dict(given)
    if stage != Stage.ADULTS or method not in count_entry.ONE_BY_ONE:
        raise BadFact({"sexed": f"“{sexed}” gives the sexes, which go with adults counted by hand."})
    for name in ("males", "females", "unsexed"):
        line_lock.check_number(name, getattr(sexed, name), least=0)
    return {**given, "counted": sexed.counted, "sexed": str(sexed)}


@action(lock=line_lock.lock_tub)
def record_looked(
    locked: LockedTubs,
    seen: Iterable[str] = ("well",),
    *,
    happened_at: datetime | None = None,
    note: str = "",
    photo: Photo | None = None,
    by: Any,
) -> Recorded:
    """Record a look into a tub: all well, or what was seen."""
    flags = check_choices("seen", seen, LOOKED)
    at = line_lock.check_time(locked.first, happened_at)
    return locked.recorded(_looked(locked.first, flags, at, by, note=note, photo=photo))


def _looked(tub: Culture, flags: list[str], at: datetime, by: Any, **fields: Any) -> Entry:
    return steps.write_entry(tub, Entry.Kind.LOOKED, given={"seen": flags}, happened_at=at, by=by, **fields)


def _lock_shelf(shelf: str, *_: Any, **__: Any) -> list[Culture]:
    """Lock the lines of a shelf, then read its open tubs: one may have been closed, or moved, before the lock."""
    locked = line_lock.lock_tubs(open_on_shelf(shelf))
    tubs = [tub for tub in locked.tubs.values() if tub.closed_on is None and tub.shelf == shelf]
    if not tubs:
        raise BadFact({"shelf": f"Shelf “{shelf}” holds no open tub. Choose another shelf."})
    return tubs


@action(lock=_lock_shelf)
def care_for_shelf(
    tubs: list[Culture], did: Iterable[str], *, happened_at: datetime | None = None, note: str = "", by: Any
) -> list[Recorded]:
    """Record what was done for every open tub of a shelf: fed, misted, new substrate."""
    did = check_choices("did", did, CARED)
    on = timezone.localdate(happened_at or timezone.now())
    # A tub that was begun later was not cared for.
    begun = [tub for tub in tubs if tub.started_on <= on]
    return [Recorded(_cared_for(tub, did, happened_at, note, by)) for tub in begun or tubs]


def _cared_for(tub: Culture, did: list[str], happened_at: datetime | None, note: str, by: Any) -> Entry:
    at = line_lock.check_time(tub, happened_at)
    return steps.write_entry(tub, Entry.Kind.CARE, given={"did": did}, happened_at=at, note=note, by=by)


def check_choices(field: str, chosen: Iterable[str], choices: tuple[str, ...]) -> list[str]:
    """Return what was chosen, in the order of the choices. Raises BadFact for nothing, or for what is no choice."""
    asked = list(dict.fromkeys(chosen))
    strange = [name for name in asked if name not in choices]
    if strange or not asked:
        fault = f"“{strange[0]}” is not one of these" if strange else "Nothing was chosen"
        raise BadFact({field: f"{fault}. Choose from: {', '.join(choices)}."})
    return [name for name in choices if name in asked]
