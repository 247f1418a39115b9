"""Turn a check into JSON values and back, so that an old check can be shown as it was."""

from collections.abc import Sequence
from dataclasses import asdict, dataclass
from datetime import datetime
from math import isfinite, sqrt
from typing import Any

import numpy as np

from breeder.base.temperature_chart import BoxCurve
from breeder.core.thermal.kit_risk import KitRisk
from breeder.core.thermal.verdict import NOT_DECIDED, Limits, Odds
from breeder.core.transit.itinerary import HOUR, DelayCase
from breeder.core.transit.place_air import Ends
from breeder.core.transit.rule_of_thumb import Opinion
from breeder.core.transit.source_conflicts import SourceConflict
from breeder.core.transit.trial_result import AnimalNeeds, KitTrial, Trial
from breeder.core.transit.verdict_floor import CheckContent
from breeder.core.transit.weather_hours import Hours
from breeder.shipments.models import Check

DIGITS = 2  # of a stored temperature
NO_PACK = "too harsh without a pack"
ODDS_DIGITS = 6  # finer than any share of 200 members in three cases


@dataclass(frozen=True)
class CheckResult:
    """Everything that a check computed, ready to store."""

    trial: Trial
    chosen: KitTrial
    ends: Ends
    animals: AnimalNeeds
    missing: tuple[str, ...]
    opinion: Opinion | None
    opinion_compared: str
    next_day: dict[str, Any] | None
    helps: tuple[dict[str, Any], ...]
    sources: int = 1
    rivalries: tuple[SourceConflict, ...] = ()
    spread: int = 0
    anchors: int = 0
    other_way: dict[str, Any] | None = None
    no_day: dict[str, Any] | None = None
    stand_ins: tuple[str, ...] = ()

    @property
    def content(self) -> CheckContent:
        """Return how much data the check had."""
        ends = (self.ends.origin, self.ends.destination)
        wanted = {at for case in self.trial.cases for at in case.times}
        known = sum(
            at in wanted and value is not None for hours in ends for at, value in zip(hours.times, hours.c, strict=True)
        )
        members = self.trial.drawn.members
        issued_at = oldest_issue(self.ends, self.trial.cases)
        width = width_c(ends, wanted)
        return CheckContent(known, members, self.sources, issued_at, self.spread, self.anchors, width)


def width_c(ends: Sequence[Hours], wanted: set[datetime]) -> float:
    """Return how far the sources of the wanted hours differ beyond the usual error of their age, °C rms; 0 for none."""
    squares = [
        extra**2
        for hours in ends
        for at, value, extra in zip(hours.times, hours.c, hours.extra_sd_c, strict=True)
        if value is not None and at in wanted
    ]
    return round(sqrt(sum(squares) / len(squares)), DIGITS) if squares else 0.0


def check_as_json(result: CheckResult, odds: str, because: Sequence[str], held_to: CheckContent) -> dict[str, Any]:
    """Return a check ready for JSON, with its odds and reasons as they were worded."""
    first = result.trial.cases[0]
    return {
        "odds_said": odds,
        "because": list(because),
        "kit": _kit(result.chosen, True),
        "kits": [_kit(tried, tried is result.chosen) for tried in result.trial.tried],
        "legs": [_leg(leg, result.ends) for leg in first.legs],
        "cases": [
            {"name": case.name, "weight": case.weight, "delivered_on": case.delivered_on.isoformat()}
            for case in result.trial.cases
        ],
        "curve": _curve(result),
        "sources": [_source(hours) for hours in (result.ends.origin, result.ends.destination)],
        "missing": list(result.missing),
        "trade": None if result.opinion is None else asdict(result.opinion) | {"compared": result.opinion_compared},
        "next_day": result.next_day,
        "no_day": result.no_day,
        "helps": list(result.helps),
        "other_way": result.other_way,
        "tolerance": asdict(result.animals.tolerance),
        "members": result.content.members,
        "content": result.content.stored(),
        "held_to": held_to.stored(),
    }


def kit_odds(outcome: KitRisk) -> dict[str, Any]:
    """Return the odds of one kit, to six digits; None where nothing is decided."""
    decided = outcome.verdict != NOT_DECIDED
    return {
        "comfort": _share(outcome.comfort, decided),
        "hard": _share(outcome.hard, decided),
        "too_cold": round(outcome.too_cold, ODDS_DIGITS) if decided else None,
        "too_warm": round(outcome.too_warm, ODDS_DIGITS) if decided else None,
    }


def _share(odds: Odds, decided: bool) -> dict[str, float | None]:
    """Return the bounds of the odds; where hours are missing, what has failed so far is only a lower bound."""
    return {
        "failed": round(odds.failed, ODDS_DIGITS) if decided else None,
        "failed_at_least": round(odds.failed, ODDS_DIGITS),
        "failed_or_unknown": round(odds.failed_or_unknown, ODDS_DIGITS),
        "standard_error": round(odds.standard_error, ODDS_DIGITS),
    }


def kit_note(tried: KitTrial) -> str:
    """Return the note of a kit next to its odds: what the shelf lacks, and that it needs a pack."""
    return "; ".join(note for note in (tried.candidate.note, NO_PACK if tried.is_barred else "") if note)


def _kit(tried: KitTrial, chosen: bool) -> dict[str, Any]:
    outcome = tried.outcome
    return {
        "kit_id": tried.candidate.kit_id,
        "name": tried.candidate.name,
        "cost": tried.candidate.cost,
        "note": kit_note(tried),
        "verdict": str(tried.verdict),
        "chosen": chosen,
        "coldest_c": [_plain(value) for value in outcome.coldest.quantiles_c],
        "warmest_c": [_plain(value) for value in outcome.warmest.quantiles_c],
        "stalled": round(outcome.stalled, ODDS_DIGITS),
        **kit_odds(outcome),
    }


def _leg(leg: Any, ends: Ends) -> dict[str, Any]:
    place = {"origin": ends.origin.label, "destination": ends.destination.label}.get(str(leg.where), "between")
    return {
        "label": leg.label,
        "place": place,
        "exposure": str(leg.exposure),
        "starts_at": leg.starts_at.isoformat(),
        "ends_at": leg.ends_at.isoformat(),
    }


def _source(hours: Hours) -> dict[str, Any]:
    return {
        "place": hours.label,
        "source": hours.source,
        "issued_at": None if hours.issued_at is None else hours.issued_at.isoformat(),
        "credits": list(hours.credits),
    }


def _curve(result: CheckResult) -> dict[str, Any]:
    """Return the chart of the on-time journey in the chosen kit: inside with its range, and the median outside."""
    case, band = result.trial.cases[0], result.trial.band_inside(result.chosen)
    limits: Limits = result.animals.limits
    outside = np.median(result.trial.around[0].ambient_c, axis=0)
    return {
        "starts_at": case.times[0].isoformat(),
        "middle": [_plain(value) for value in band.middle_c],
        "low": [_plain(value) for value in band.low_c],
        "high": [_plain(value) for value in band.high_c],
        "outside": [_plain(float(value)) for value in outside],
        "comfort": [limits.low_c, limits.high_c],
        "hard": [limits.hard_low_c, limits.hard_high_c],
        "legs": _starts(case),
    }


def _starts(case: DelayCase) -> list[list[Any]]:
    """Return the hour at which each leg begins, with its name."""
    rows: list[list[Any]] = []
    for index, at in enumerate(case.times[:-1]):
        label = case.leg_at(at).label
        if not rows or rows[-1][1] != label:
            rows.append([index, label])
    return rows


def _plain(value: float) -> float | None:
    return round(value, DIGITS) if isfinite(value) else None


def stored_curve(stored: dict[str, Any]) -> BoxCurve | None:
    """Return the chart of a stored check."""
    curve = stored.get("curve")
    if not curve:
        return None
    first = datetime.fromisoformat(curve["starts_at"])

    def row(name: str) -> tuple[float | None, ...]:
        return tuple(curve[name])

    return BoxCurve(
        times=tuple(first + step * HOUR for step in range(len(curve["middle"]))),
        middle=row("middle"),
        low=row("low"),
        high=row("high"),
        outside=row("outside"),
        comfort=tuple(curve["comfort"]),
        hard=tuple(curve["hard"]),
        legs=tuple((int(index), str(label)) for index, label in curve["legs"]),
    )


def oldest_issue(ends: Ends, cases: Sequence[DelayCase]) -> datetime | None:
    """Return when the oldest hours used by the cases were issued; None if neither end has any."""
    wanted = {at for case in cases for at in case.times}
    issued = [
        issue
        for hours in (ends.origin, ends.destination)
        for at, issue in zip(hours.times, hours.issued, strict=True)
        if issue is not None and at in wanted
    ]
    return min(issued, default=None)


def last_verdict(check: Check | None) -> tuple[str, CheckContent] | None:
    """Return verdict and content of a stored check; None without a check or without its content."""
    stored = check.result.get("held_to") if check is not None else None
    return (check.verdict, CheckContent.read(stored)) if check is not None and stored else None
