"""Answer the subjects heat and check of ``manage.py reckon``: a JSON document in, a JSON answer out."""

from __future__ import annotations

from typing import Any

import numpy as np
from numpy.typing import NDArray

from breeder.core.jsonio import CONTRACT
from breeder.core.jsonio.document_reader import Reader

from . import hazards, metrics
from . import packs as heat_packs
from .box import Network
from .kit_document import COLDEST_C, MOST_W, WARMEST_C, KitReading, read_hours, read_kit, read_series
from .kit_risk import QUANTILES, JudgedCase, Moment, judge_case, overall_risk, weights_fault
from .materials import SECONDS_PER_HOUR
from .phase_change import pack_regimes, stored_kj
from .regime_stepper import Trace
from .single_run import LONGEST_RUN_H, Series, read_at, run
from .verdict import Limits, Odds, Tolerance

Array = NDArray[np.float64]


def heat(document: dict[str, Any]) -> dict[str, Any]:
    """Return how warm one kit or network gets in given weather. Raises BadInput with every fault of the document."""
    reader = Reader(document)
    given = read_kit(reader)
    ambient = read_series(reader.object("ambient"), "c", COLDEST_C, WARMEST_C)
    start_c = reader.number("start_c", low=COLDEST_C, high=WARMEST_C)
    power_reader = reader.object_or_none("power")
    power = None if power_reader is None else read_series(power_reader, "w", -MOST_W, MOST_W)
    limits = _two_limits(reader)
    asked = _at_hours(reader)
    reader.finish()
    assert given is not None  # a document without a usable kit has faults, and finish has raised
    end_h = max(asked) if asked else float(ambient.hours[-1])
    hours = asked or [float(hour) for hour in range(int(end_h) + 1)]
    trace = run(given.packed, ambient, start_c, end_h=end_h, heater_w=power, also=hours)
    answer: dict[str, Any] = {
        "contract": CONTRACT,
        "conductance_w_k": given.packed.network.outside_w_k,
        "network": _network_row(given),
        "at": _rows(trace, hours),
        **_extremes(trace),
    }
    if limits is not None:
        answer |= _outside(trace, *limits)
    answer["packs"] = _pack_rows(given, trace, end_h)
    answer["notes"] = hazards.hazard_notes(given.packed, trace, ambient.at(trace.hour)[:, 0], start_c, limits)
    return answer


def _two_limits(reader: Reader) -> tuple[float, float] | None:
    inner = reader.object_or_none("limits")
    if inner is None:
        return None
    low, high = (inner.number(name, low=COLDEST_C, high=WARMEST_C) for name in ("low_c", "high_c"))
    if low >= high:
        inner.fault("high_c", f"It is {high:g}, but it must be above low_c, which is {low:g}.")
    inner.done()
    return low, high


def _at_hours(reader: Reader) -> list[float]:
    if not reader.has("at_hours"):
        return []
    return reader.numbers("at_hours", least=1, low=0.0, high=LONGEST_RUN_H)


def _network_row(given: KitReading) -> dict[str, Any]:
    """Return the numbers used; for a lined box also the two-node network that can be checked by hand."""
    net = given.packed.network
    row: dict[str, Any] = {**_two_nodes(net)}
    if net.wall_j_k:
        row |= {"wall_w_k": list(net.wall_w_k), "wall_j_k": list(net.wall_j_k), "two_nodes": _two_nodes(given.simple)}
    return {"model": net.model, **row}


def _two_nodes(net: Network) -> dict[str, float]:
    return {
        "outside_w_k": net.outside_w_k,
        "payload_w_k": net.payload_w_k,
        "air_j_k": net.air_j_k,
        "payload_j_k": net.payload_j_k,
    }


def _rows(trace: Trace, hours: list[float]) -> list[dict[str, float]]:
    return [
        {"hour": _tidy(hour), "air_c": float(trace.air_c[row, 0]), "payload_c": float(trace.payload_c[row, 0])}
        for hour, row in zip(hours, read_at(trace, hours), strict=True)
    ]


def _tidy(hour: float) -> float:
    """Return a whole hour as 1 rather than 1.0, as it was written in the document."""
    return int(hour) if hour.is_integer() else hour


def _extremes(trace: Trace) -> dict[str, float]:
    extremes = metrics.extremes(trace.hour, trace.payload_c)
    return {
        "payload_min_c": float(extremes.coldest_c[0]),
        "payload_min_hour": float(extremes.coldest_hour[0]),
        "payload_max_c": float(extremes.warmest_c[0]),
        "payload_max_hour": float(extremes.warmest_hour[0]),
    }


def _outside(trace: Trace, low_c: float, high_c: float) -> dict[str, float]:
    below, cold = metrics.time_below(trace.hour, trace.payload_c, low_c)
    above, warm = metrics.time_above(trace.hour, trace.payload_c, high_c)
    return {
        "hours_below": float(below[0]),
        "hours_above": float(above[0]),
        "degree_hours_below": float(cold[0]),
        "degree_hours_above": float(warm[0]),
    }


def _pack_rows(given: KitReading, trace: Trace, end_h: float) -> list[dict[str, Any]]:
    """Return energy and mean power of each pack: heat packs over the printed hours, melting packs over the run."""
    what, rows = given.packed, []
    burning = what.burn(trace.hour)
    for pack, given_w in zip(what.heat_packs, burning.power_w, strict=True):
        rows.append(
            {
                "kind": "heat",
                "grams": heat_packs.grams(pack),
                "energy_kj": heat_packs.energy_kj(pack),
                "mean_w": heat_packs.mean_w(pack),
                "given_kj": float(np.trapezoid(given_w, trace.hour)) * SECONDS_PER_HOUR / 1000.0,
                "oxygen_share": float(burning.share.min()),
            }
        )
    return rows + _melting_rows(given, trace, end_h)


def _melting_rows(given: KitReading, trace: Trace, end_h: float) -> list[dict[str, Any]]:
    """Return the heat that each melting pack took up, from the final state of the packs equal to it."""
    packs = given.packed.phase_change_packs
    rows = []
    for pack in packs:
        place = list(dict.fromkeys(packs)).index(pack)
        alone = pack_regimes((pack,))
        before, after = (stored_kj(alone, np.array([c])) for c in (pack.start_c, trace.pack_c[0, place]))
        taken_up = float((after - before)[0])
        rows.append(
            {
                "kind": "phase_change",
                "energy_kj": pack.kg * pack.latent_kj_kg,
                "mean_w": taken_up * 1000.0 / (end_h * SECONDS_PER_HOUR) if end_h > 0.0 else 0.0,
                "taken_up_kj": taken_up,
                "end_c": float(trace.pack_c[0, place]),
            }
        )
    return rows


def check(document: dict[str, Any]) -> dict[str, Any]:
    """Return the verdict for the members given in a document. Raises BadInput with every fault of the document."""
    reader = Reader(document)
    kit_reader = reader.object("kit")
    given = read_kit(kit_reader) if kit_reader.usable else None
    kit_reader.done()
    start_c = reader.number("start_c", low=COLDEST_C, high=WARMEST_C)
    limits, tolerance = _limits(reader.object("limits")), _tolerance(reader.object_or_none("tolerance"))
    cases = [_case(row) for row in reader.objects("cases", least=1)]
    weights = [weight for _, weight, _, _ in cases]
    if cases and not np.isnan(weights).any():
        fault = weights_fault(weights)
        if fault:
            reader.fault("cases", fault)
    reader.finish()
    assert given is not None  # else there are faults, and finish has raised
    assert limits is not None
    assert tolerance is not None
    judged = [_judged(given, case, start_c, limits) for case in cases]
    risk = overall_risk(judged, tolerance)
    notes = [f"Hour {hour:g} is missing in at least one member." for hour in risk.missing_hours]
    return {
        "contract": CONTRACT,
        "verdict": risk.verdict,
        "comfort": _odds_row(risk.comfort),
        "hard": _odds_row(risk.hard),
        "quantiles": list(QUANTILES),
        "coldest_c": _moment_row(risk.coldest),
        "warmest_c": _moment_row(risk.warmest),
        "hours_below": risk.hours_below,
        "hours_above": risk.hours_above,
        "missing_hours": [_tidy(hour) for hour in risk.missing_hours],
        "missing_by_case": {case.name: [_tidy(hour) for hour in case.missing_hours] for case in risk.cases},
        "notes": notes,
    }


def _limits(reader: Reader) -> Limits | None:
    names = ("low_c", "high_c", "hard_low_c", "hard_high_c")
    low, high, hard_low, hard_high = (reader.number(name, low=COLDEST_C, high=WARMEST_C) for name in names)
    allowed = reader.number("hours_allowed", low=0.0)
    reader.done()
    if np.isnan([low, high, hard_low, hard_high, allowed]).any():
        return None
    try:
        return Limits(low, high, allowed, hard_low, hard_high)
    except ValueError as refused:
        reader.fault(None, str(refused))
        return None


def _tolerance(reader: Reader | None) -> Tolerance | None:
    usual = Tolerance()
    if reader is None:
        return usual
    comfort = reader.number("comfort", low=0.0, high=1.0, default=usual.comfort)
    hard = reader.number("hard", low=0.0, high=1.0, default=usual.hard)
    reader.done()
    return None if np.isnan([comfort, hard]).any() else Tolerance(comfort, hard)


Case = tuple[str, float, list[float], list[list[float]]]


def _case(reader: Reader) -> Case:
    name, weight = reader.text("name"), reader.number("weight", low=0.0, high=1.0)
    hours = read_hours(reader)
    members = reader.rows("members_c", least=1, low=COLDEST_C, high=WARMEST_C)
    for place, member in enumerate(members):
        if hours and len(member) != len(hours):
            words = f"It has {len(member)} values for {len(hours)} hours; give one for each, null where it is missing."
            reader.fault_at(f"{reader.at('members_c')}[{place}]", words)
    reader.done()
    return name, weight, hours, members


def _judged(given: KitReading, case: Case, start_c: float, limits: Limits) -> JudgedCase:
    """Run all members of a case; weather after a gap is filled with any finite number, since it is never read."""
    name, weight, hours, rows = case
    at, members = np.array(hours), np.array(rows).T
    gap = np.isnan(members)
    complete = ~gap.any(axis=0)
    trace = run(given.packed, Series(at, np.where(gap, start_c, members)), start_c, end_h=float(at[-1]), also=hours)
    first = gap.argmax(axis=0)
    known_until = np.where(first > 0, at[np.maximum(first - 1, 0)], 0.0)
    known_c = metrics.cut(trace.hour, trace.payload_c, known_until, complete)
    swept = metrics.sweep_result(trace.hour, known_c, limits.low_c, limits.high_c, trace.stalled)
    missing = tuple(float(hour) for hour in at[gap.any(axis=1)])
    return judge_case(name, weight, swept, limits, complete=complete, missing_hours=missing)


def _odds_row(odds: Odds) -> dict[str, float]:
    return {
        "failed": odds.failed,
        "failed_or_unknown": odds.failed_or_unknown,
        "standard_error": odds.standard_error,
    }


def _moment_row(moment: Moment) -> list[float]:
    return list(moment.quantiles_c)
