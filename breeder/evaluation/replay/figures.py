"""Summarize a replayed year: Go days, unsafe Go, needless No-go, and whether stated odds came true."""

from collections.abc import Callable, Sequence
from typing import Any

from breeder.core.transit import rule_of_thumb
from breeder.evaluation.replay.decisions import Decision, ReplayedDay

BINS = (0.0, 0.005, 0.02, 0.05, 0.10, 0.20, 0.50, 1.0)
ORDINARY_LOW_C, ORDINARY_HIGH_C = 7.0, 27.0
DIGITS = 4


def summarize(days: Sequence[ReplayedDay]) -> dict[str, Any]:
    """Return the figures of one route or of several together."""
    return {
        "days": len(days),
        "check": _maker(days, lambda day: day.check),
        "trade_rule": _maker(days, lambda day: day.rule),
        "oracle": _maker(days, lambda day: day.oracle),
        "go_of_oracle": _share(sum(day.check.kit is not None for day in days), sum(_oracle_goes(day) for day in days)),
        "reliability": reliability([day.check for day in days]),
        "ordinary_days": _ordinary(days),
        "harsh_days": _harsh(days),
    }


def _maker(days: Sequence[ReplayedDay], decision: Callable[[ReplayedDay], Decision]) -> dict[str, Any]:
    going = [decision(day) for day in days if decision(day).kit is not None]
    needless = sum(_oracle_goes(day) and decision(day).kit is None for day in days)
    return {
        "go": _share(len(going), len(days)),
        "unsafe_go": _share(sum(choice.broke or 0.0 for choice in going), len(going)),
        "needless_no_go": _share(needless, sum(_oracle_goes(day) for day in days)),
        "with_pack": _share(sum(choice.has_pack for choice in going), len(going)),
    }


def reliability(rows: Sequence[Decision]) -> list[dict[str, Any]]:
    """Return for each bin of stated odds the number of days, the mean stated odds, and the share that came true.

    Days with No-go count too, with the kit that came nearest: odds must be true whatever the verdict.
    """
    bins = []
    for low, high in zip(BINS, BINS[1:], strict=False):
        inside = [row for row in rows if row.stated is not None and _within(row.stated, low, high)]
        bins.append(
            {
                "from": low,
                "to": high,
                "days": len(inside),
                "stated": _share(sum(row.stated or 0.0 for row in inside), len(inside)),
                "came_true": _share(sum(row.would_break or 0.0 for row in inside), len(inside)),
            }
        )
    return bins


def _within(value: float, low: float, high: float) -> bool:
    return low <= value < high or (value == high == BINS[-1])


def _ordinary(days: Sequence[ReplayedDay]) -> dict[str, Any]:
    ordinary = [day for day in days if day.low_c >= ORDINARY_LOW_C and day.high_c <= ORDINARY_HIGH_C]
    plain = sum(day.check.kit is not None and not day.check.has_pack for day in ordinary)
    return {"days": len(ordinary), "go_without_pack": _share(plain, len(ordinary))}


def _harsh(days: Sequence[ReplayedDay]) -> dict[str, Any]:
    harsh = [day for day in days if rule_of_thumb.is_harsh(day.low_c, day.high_c)]
    plain = sum(day.check.kit is not None and not day.check.has_pack for day in harsh)
    return {"days": len(harsh), "go_without_pack": plain}


def _oracle_goes(day: ReplayedDay) -> bool:
    return day.oracle.kit is not None


def _share(part: float, whole: int) -> float | None:
    return round(part / whole, DIGITS) if whole else None


def figures_text(name: str, figures: dict[str, Any]) -> str:
    """Return the figures as lines of text."""
    rows = [f"{name}, {figures['days']} days"]
    for maker in ("check", "trade_rule", "oracle"):
        row = figures[maker]
        rows.append(
            f"  {maker.replace('_', ' '):<10} Go {_percent(row['go'])}, unsafe Go {_percent(row['unsafe_go'])}, "
            f"needless No-go {_percent(row['needless_no_go'])}, with a pack {_percent(row['with_pack'])}"
        )
    ordinary, harsh = figures["ordinary_days"], figures["harsh_days"]
    rows += [
        f"  Go days in parts of the oracle's: {_percent(figures['go_of_oracle'])}",
        f"  between 7 and 27 °C: {ordinary['days']} days, Go without a pack {_percent(ordinary['go_without_pack'])}",
        f"  below -5 or above 35 °C: {harsh['days']} days, Go without a pack on {harsh['go_without_pack']}",
    ]
    for row in figures["reliability"]:
        if row["days"]:
            rows.append(
                f"  odds {row['from']:g} to {row['to']:g}: {row['days']} days, stated {_percent(row['stated'])}, "
                f"came true {_percent(row['came_true'])}"
            )
    return "\n".join(rows)


def _percent(share: float | None) -> str:
    return "–" if share is None else f"{100 * share:.1f} %"
