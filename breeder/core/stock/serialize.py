"""Turn a belief into plain JSON values and back, for a database column."""

from __future__ import annotations

from datetime import date, datetime
from typing import Any

from .belief import ApproximateLoss, CountUpdate, LogNormalAnimals, Source, StockBelief, TubShare

READ_ON_A_DAY = ("left", "waited")  # never stored, because they follow from the day of reading


def as_json(belief: StockBelief) -> dict[str, Any]:
    """Return the belief as JSON values; `from_json` gives back an equal belief."""
    return {
        "sources": [_source_out(source) for source in belief.sources],
        "begun_on": belief.begun_on.isoformat(),
        "moved": belief.moved,
        "taken": belief.taken,
        "added": belief.added,
        "at_count": belief.at_count,
        "counted_on": None if belief.counted_on is None else belief.counted_on.isoformat(),
        "used": None if belief.used is None else belief.used.as_json(),
    }


def from_json(stored: dict[str, Any]) -> StockBelief:
    """Return the belief that `as_json` stored, in this version or an older one."""
    return StockBelief(
        tuple(_source_in(source) for source in stored["sources"]),
        _day(stored["begun_on"]),
        stored["moved"],
        stored["taken"],
        None if stored["counted_on"] is None else _day(stored["counted_on"]),
        None if stored["used"] is None else CountUpdate(**stored["used"]),
        stored.get("added", stored["moved"] + stored["taken"]),
        stored.get("at_count", 0.0),
    )


def _source_out(source: Source) -> dict[str, Any]:
    if isinstance(source, TubShare):
        return {"kind": "part", "share": source.share, "log_sd": source.log_sd, "of": as_json(source.whole)}
    if isinstance(source, ApproximateLoss):
        return {"kind": "gone", "middle": source.middle, "log_sd": source.log_sd}
    values = {name: value for name, value in vars(source).items() if name not in READ_ON_A_DAY}
    reach = [list(pair) for pair in source.reach]
    return {"kind": "animals", **values, "since": source.since.isoformat(), "reach": reach}


def _source_in(stored: dict[str, Any]) -> Source:
    kind = stored["kind"]
    values = {name: value for name, value in stored.items() if name != "kind"}
    if kind == "part":
        return TubShare(values["share"], values["log_sd"], from_json(values["of"]))
    if kind == "gone":
        return ApproximateLoss(**values)
    reach = tuple((level, times) for level, times in values.get("reach", ()))
    return LogNormalAnimals(**values | {"since": _day(values["since"]), "reach": reach})


def _day(text: str) -> date:
    return datetime.fromisoformat(text) if "T" in text else date.fromisoformat(text)
