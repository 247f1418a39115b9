"""Counts, looks and care: what was seen in a tub and done for it, with nothing taken out."""

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from datetime import datetime
from typing import Any

from django.db import transaction
from django.urls import reverse
from django.utils import timezone

from breeder.base import form_tokens
from breeder.base.models import Photo
from breeder.cultures import count_entry, eye_bias, steps
from breeder.cultures.actions import line_lock
from breeder.cultures.actions.line_lock import Recorded
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


def record_count(
    culture_id: int,
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
    token: str = "",
    answer: str = "",
) -> Recorded:
    """Record one count of one stage of a tub, by any method; `sexed` goes with adults counted by hand.

    `seen` is what else was seen on that look; it stands and falls with the count.
    """
    written = eye_bias.with_own_error(kept_values(stage, method, given, sexed), method, by)
    count = count_entry.newly_counted(method, written)
    flags = check_choices("seen", seen, LOOKED) if seen else []
    with transaction.atomic(durable=True):
        this = line_lock.lock_tubs([culture_id])
        tub = this.tubs[culture_id]
        entry = steps.write_entry(
            tub,
            Entry.Kind.COUNT,
            stage=line_lock.check_stage(tub.line, stage),
            method=method,
            given=written,
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
        return this.recorded(entry, token=token, answer=answer)


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


def record_looked(
    culture_id: int,
    seen: Iterable[str] = ("well",),
    *,
    happened_at: datetime | None = None,
    note: str = "",
    photo: Photo | None = None,
    by: Any,
    token: str = "",
    answer: str = "",
) -> Recorded:
    """Record a look into a tub: all well, or what was seen."""
    flags = check_choices("seen", seen, LOOKED)
    with transaction.atomic(durable=True):
        this = line_lock.lock_tubs([culture_id])
        tub = this.tubs[culture_id]
        entry = _looked(tub, flags, line_lock.check_time(tub, happened_at), by, note=note, photo=photo)
        return this.recorded(entry, token=token, answer=answer)


def _looked(tub: Culture, flags: list[str], at: datetime, by: Any, **fields: Any) -> Entry:
    return steps.write_entry(tub, Entry.Kind.LOOKED, given={"seen": flags}, happened_at=at, by=by, **fields)


def care_for_shelf(
    shelf: str,
    did: Iterable[str],
    *,
    happened_at: datetime | None = None,
    note: str = "",
    by: Any,
    token: str = "",
    answer: str = "",
) -> list[Recorded]:
    """Record what was done for every open tub of a shelf: fed, misted, new substrate."""
    done = check_choices("did", did, CARED)
    with transaction.atomic(durable=True):
        on_shelf = open_on_shelf(shelf)
        if not on_shelf:
            raise BadFact({"shelf": f"Shelf “{shelf}” holds no open tub. Choose another shelf."})
        this = line_lock.lock_tubs(on_shelf)
        # Read again after the turn: a tub may have been closed since. One that was begun later was not cared for.
        on = timezone.localdate(happened_at or timezone.now())
        open_tubs = [tub for tub in this.tubs.values() if tub.closed_on is None and tub.shelf == shelf]
        tubs = [tub for tub in open_tubs if tub.started_on <= on] or open_tubs
        found = [Recorded(_cared_for(tub, done, happened_at, note, by)) for tub in tubs]
        if token:
            form_tokens.spend(token, answer or reverse("cultures:care"))
        return found


def _cared_for(tub: Culture, done: list[str], happened_at: datetime | None, note: str, by: Any) -> Entry:
    at = line_lock.check_time(tub, happened_at)
    return steps.write_entry(tub, Entry.Kind.CARE, given={"did": done}, happened_at=at, note=note, by=by)


def check_choices(field: str, chosen: Iterable[str], choices: tuple[str, ...]) -> list[str]:
    """Return what was chosen, in the order of the choices. Raises BadFact for nothing, or for what is no choice."""
    asked = list(dict.fromkeys(chosen))
    strange = [name for name in asked if name not in choices]
    if strange or not asked:
        said = f"“{strange[0]}” is not one of these" if strange else "Nothing was chosen"
        raise BadFact({field: f"{said}. Choose from: {', '.join(choices)}."})
    return [name for name in choices if name in asked]
