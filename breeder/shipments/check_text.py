"""Word a check for the keeper: odds, the leg that fails, missing hours, and what would help."""

from collections.abc import Sequence
from datetime import date, datetime, timedelta
from typing import Any
from zoneinfo import ZoneInfo

from breeder.base.dates import clock_said, weekday_said
from breeder.base.formatting import odds
from breeder.core.thermal.kit_risk import CaseRisk, KitRisk
from breeder.core.thermal.verdict import GO, LEAVING, NO_GO, NOT_DECIDED
from breeder.core.transit import rule_of_thumb
from breeder.core.transit.itinerary import HOUR, DelayCase, Exposure
from breeder.core.transit.source_conflicts import SourceConflict
from breeder.core.transit.trial_result import KitTrial
from breeder.core.transit.weather_hours import Hours
from breeder.core.units import degree_span, degrees

# A side with odds under this, or under a tenth of the other's, is not named as the problem.
NOT_WORTH_NAMING = 0.005
SMALL_SHARE = 0.1

WHERE_BOX_IS = {
    Exposure.VAN: "in the van",
    Exposure.HUB: "in the network",
    Exposure.DOORSTEP: "on the doorstep",
    Exposure.COUNTER: "behind the counter",
}
EVENING, MORNING, NOON, LATE = 18, 6, 12, 22


def when_text(at: datetime, zone: ZoneInfo) -> str:
    """Return 'Tuesday night', 'Wednesday afternoon': hours after midnight belong to the night before."""
    local = at.astimezone(zone)
    if local.hour < MORNING:
        return f"{local - timedelta(days=1):%A} night"
    if local.hour >= LATE:
        return f"{local:%A} night"
    part = "morning" if local.hour < NOON else "afternoon" if local.hour < EVENING else "evening"
    return f"{local:%A} {part}"


def location_text(case: DelayCase, hour: float, zone: ZoneInfo) -> str:
    """Return where a box is at an hour of its journey: 'Tuesday night in the network'."""
    at = case.times[0] + min(hour, case.hours) * HOUR
    return f"{when_text(at, zone)} {WHERE_BOX_IS[case.leg_at(at).exposure]}"


def odds_text(outcome: KitRisk) -> str:
    """Return the odds of leaving comfort and of passing a hard limit, naming the side that matters."""
    if outcome.verdict == NOT_DECIDED:
        return "Hours are missing, so the odds are not known."
    cold = outcome.too_cold > max(NOT_WORTH_NAMING, SMALL_SHARE * outcome.too_warm)
    warm = outcome.too_warm > max(NOT_WORTH_NAMING, SMALL_SHARE * outcome.too_cold)
    side = {(True, False): "Too cold", (False, True): "Too warm"}.get((cold, warm), "Too cold or too warm")
    return f"{side} for comfort: {odds(outcome.comfort.failed)}. Past a hard limit: {odds(outcome.hard.failed)}."


def allowed_text(comfort: float, hard: float) -> str:
    """Return the tolerances: 'You allow 1 in 5 and 1 in 20.'"""
    return f"You allow {odds(comfort).removeprefix('about ')} and {odds(hard).removeprefix('about ')}."


def no_day_text(stored: dict[str, Any] | None) -> str:
    """Return up to which later shipping day no kit goes; empty if none was tried, or if one goes."""
    if stored is None:
        return ""
    if stored["until"] is None:
        return "The hours that are known reach no later posting day."
    return f"No kit goes on a later posting day either, up to {weekday_said(date.fromisoformat(stored['until']))}."


def worst_hour_text(tried: KitTrial, cases: Sequence[DelayCase], zone: ZoneInfo, *, fahrenheit: bool) -> str:
    """Return where and when the animals are coldest, or warmest if heat is the problem."""
    outcome = tried.outcome
    warm = outcome.too_warm > outcome.too_cold
    moment, word = (outcome.warmest, "Warmest") if warm else (outcome.coldest, "Coldest")
    place = location_text(_longest_until(cases, moment.hour), moment.hour, zone)
    return f"{word} hour: {place}, {degrees(moment.quantiles_c[1], fahrenheit=fahrenheit)} inside."


def failing_leg_text(outcome: KitRisk, cases: Sequence[DelayCase], zone: ZoneInfo) -> str:
    """Return the leg on which most of the failing journeys leave comfort, on the side that fails more."""
    warm = outcome.too_warm > outcome.too_cold
    named = {case.name: case for case in cases}
    failing: list[tuple[float, CaseRisk, float]] = []
    for case in outcome.cases:
        hour = case.hot_hour if warm else case.cold_hour
        if hour is not None:
            failing.append((case.weight * max(case.comfort_failed, case.hard_failed), case, hour))
    if not failing:
        return ""
    _, worst, hour = max(failing, key=lambda row: row[0])
    late = "" if worst.name == cases[0].name else f", {worst.name}"
    return f"It gets too {'warm' if warm else 'cold'} {location_text(named[worst.name], hour, zone)}{late}."


def missing_text(hours: Hours, missing: Sequence[int]) -> str:
    """Return which hours of a place are missing, and what to do."""
    if not missing:
        return ""
    first, last = (hours.times[index].astimezone(hours.zone) for index in (missing[0], missing[-1]))
    when = f"{len(missing)} hours between {clock_said(first)} and {clock_said(last)}"
    if len(missing) == 1:
        when = f"the hour of {clock_said(first)}"
    return f"{hours.label} lacks {when} (its own clock). Send in newer hours, or type its lows and highs."


def disagreement_text(rivalry: SourceConflict, *, fahrenheit: bool) -> str:
    """Return which two sources of a place disagree, by how much and when, and that the worse decides."""
    first, second = rivalry.sources
    when = when_text(rivalry.at, ZoneInfo(rivalry.timezone))
    apart = degree_span(rivalry.apart_c, fahrenheit=fahrenheit)
    return (
        f"For {rivalry.label}, {first} and {second} differ by up to {apart} ({when}). The box was tried with both, "
        "and the worse decides."
    )


def morning_check_text(verdict: str, checked_on: date, post_on: date | None, today: date) -> str:
    """Return that a box that may go is checked again on its shipping morning; empty once that is done.

    Decided three days ahead, 17 of 1000 boxes broke instead of 7 (computed for this project on daily forecasts and
    outcomes of US cities, 2014-2017).
    """
    if verdict not in LEAVING or post_on is None or checked_on >= post_on:
        return ""
    if today >= post_on:
        return f"Checked on {checked_on:%A}, ahead of its day: check it again before it leaves."
    return f"It is checked again on {post_on:%A} morning, when the forecast knows more."


def reason_texts(
    tried: KitTrial, cases: Sequence[DelayCase], missing: Sequence[str], zone: ZoneInfo, *, fahrenheit: bool
) -> list[str]:
    """Return the reasons of a verdict other than its odds: the leg that fails, the missing hours, the worst hour."""
    if tried.is_barred:
        reasons = [rule_of_thumb.HARSH_TEXT]
    elif tried.outcome.verdict == NO_GO:
        reasons = [failing_leg_text(tried.outcome, cases, zone)]
    elif tried.outcome.verdict == GO:
        reasons = [worst_hour_text(tried, cases, zone, fahrenheit=fahrenheit)]
    else:
        reasons = list(missing)
    if tried.outcome.stalled > NOT_WORTH_NAMING:
        reasons.append(f"In {odds(tried.outcome.stalled)} journeys the heat pack itself freezes and stops.")
    return [sentence for sentence in reasons if sentence]


def _longest_until(cases: Sequence[DelayCase], hour: float) -> DelayCase:
    """Return the first case that still lasts at an hour, else the longest."""
    return next((case for case in cases if case.hours >= hour), max(cases, key=lambda case: case.hours))
