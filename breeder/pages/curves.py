"""The box curve as SVG: inside with its likely range, outside dashed, the comfort band white between warm and cold."""

from dataclasses import dataclass
from datetime import datetime
from math import ceil, floor
from typing import Any

from django.utils import timezone
from django.utils.formats import date_format

from breeder.core.units import to_fahrenheit

WIDTH, HEIGHT = 1000, 416
LEFT, RIGHT, TOP, BOTTOM = 62, 985, 14, 320
LEG_ROWS, CLOCK_Y = (345, 373), 404  # names of legs stand in turn on two lines, since on a phone they are large
GRID_STEP = {False: 5, True: 10}  # by unit: every 5 °C or 10 °F
LETTER = 14  # width of a letter on a phone


@dataclass(frozen=True)
class BoxCurve:
    """Hour by hour temperatures in °C of one box on its way; None where an hour is missing.

    Without `times` the hours are counted from the start: of a trial that was on no day.
    """

    times: tuple[datetime, ...] | None
    middle: tuple[float | None, ...]
    low: tuple[float | None, ...]
    high: tuple[float | None, ...]
    outside: tuple[float | None, ...]
    comfort: tuple[float, float]
    hard: tuple[float, float]
    legs: tuple[tuple[int, str], ...] = ()
    name: str = "box"  # tells several pictures on one page apart


@dataclass(frozen=True)
class _Frame:
    bottom: float
    top: float
    hours: int

    def y(self, value: float) -> float:
        return round(BOTTOM - (value - self.bottom) / (self.top - self.bottom) * (BOTTOM - TOP), 1)

    def x(self, hour: float) -> float:
        return round(LEFT + hour / max(1, self.hours) * (RIGHT - LEFT), 1)


def _path(values: list[float | None], frame: _Frame) -> str:
    """Return an SVG path with a gap wherever a value is missing."""
    steps, pen_down = [], False
    for hour, value in enumerate(values):
        if value is None:
            pen_down = False
            continue
        steps.append(f"{'L' if pen_down else 'M'}{frame.x(hour)} {frame.y(value)}")
        pen_down = True
    return "".join(steps)


def _band(low: list[float | None], high: list[float | None], frame: _Frame) -> list[str]:
    """Return one closed path per unbroken stretch of the range."""
    paths, stretch = [], []
    for hour in range(len(low) + 1):
        known = hour < len(low) and low[hour] is not None and high[hour] is not None
        if known:
            stretch.append(hour)
            continue
        if len(stretch) > 1:
            there = [f"{frame.x(h)} {frame.y(high[h])}" for h in stretch]  # type: ignore[arg-type]
            back = [f"{frame.x(h)} {frame.y(low[h])}" for h in reversed(stretch)]  # type: ignore[arg-type]
            paths.append("M" + "L".join(there + back) + "Z")
        stretch = []
    return paths


def _ticks(frame: _Frame, step: int, limits: list[float]) -> list[dict[str, Any]]:
    """Return the labelled lines: the limits always, round degrees where they do not crowd a limit."""
    near = step * 0.9
    rounds = [value for value in range(ceil(frame.bottom / step) * step, floor(frame.top) + 1, step)]
    marks = [(value, "grid") for value in rounds if all(abs(value - limit) >= near for limit in limits)]
    marks += [(limit, "limit" if index < 2 else "hard") for index, limit in enumerate(limits)]
    return [
        {"y": frame.y(value), "said": f"{value:.0f}°".replace("-", "\u2212"), "kind": kind}
        for value, kind in marks
        if frame.bottom <= value <= frame.top
    ]


def _legs(curve: BoxCurve, frame: _Frame) -> list[dict[str, Any]]:
    """Return where each leg begins; a label that would run into the next one on its line is left to the table."""
    found: list[dict[str, Any]] = []
    starts = [frame.x(hour) for hour, _ in curve.legs]
    last = len(starts) - 1
    for number, (x, (_, label)) in enumerate(zip(starts, curve.legs, strict=True)):
        after = starts[number + len(LEG_ROWS)] if number + len(LEG_ROWS) <= last else RIGHT
        # The last one ends where the picture does: it may begin before its line.
        fits = number == last or after - x >= LETTER * len(label)
        said_x = min(x, RIGHT - LETTER * len(label)) if number == last else x
        found.append({"x": x, "said_x": said_x, "y": LEG_ROWS[number % len(LEG_ROWS)], "said": label if fits else ""})
    return found


def _clock(curve: BoxCurve) -> list[str]:
    """Return how each hour is said."""
    if curve.times is None:
        return [f"hour {hour}" for hour in range(len(curve.middle))]
    return [date_format(timezone.localtime(at), "D H:i") for at in curve.times]


def _rows(curve: BoxCurve, unit: Any) -> list[dict[str, Any]]:
    """Return every third hour for the table beside the picture."""
    starts = dict(curve.legs)
    return [
        {
            "at": said,
            "inside": unit(curve.middle[hour]),
            "low": unit(curve.low[hour]),
            "high": unit(curve.high[hour]),
            "outside": unit(curve.outside[hour]),
            "leg": starts.get(hour, ""),
        }
        for hour, said in enumerate(_clock(curve))
        if hour % 3 == 0 or hour in starts
    ]


def drawn(curve: BoxCurve, *, fahrenheit: bool) -> dict[str, Any]:
    """Return all coordinates and words that the template needs; nothing is decided there."""

    def unit(value: float | None) -> float | None:
        return value if value is None or not fahrenheit else to_fahrenheit(value)

    low, middle, high, outside = (
        [unit(v) for v in row] for row in (curve.low, curve.middle, curve.high, curve.outside)
    )
    limits = [float(unit(value)) for value in (*curve.comfort, *curve.hard)]  # type: ignore[arg-type]
    seen = [value for value in (*low, *high, *outside) if value is not None] + limits[:2]
    frame = _Frame(floor(min(seen)) - 2, ceil(max(seen)) + 2, len(curve.middle) - 1)
    warm, cold = frame.y(min(limits[1], frame.top)), frame.y(max(limits[0], frame.bottom))
    inside = [value for value in middle if value is not None]
    clock = _clock(curve)
    return {
        "name": curve.name,
        "width": WIDTH, "height": HEIGHT, "left": LEFT, "right": RIGHT, "top": TOP, "bottom": BOTTOM,
        "clock_y": CLOCK_Y, "plot_width": RIGHT - LEFT,
        "warm_height": max(0, round(warm - TOP, 1)), "cold_y": cold, "cold_height": max(0, round(BOTTOM - cold, 1)),
        "fine_y": warm, "fine_height": max(0, round(cold - warm, 1)),
        "bands": _band(low, high, frame), "middle": _path(middle, frame), "outside": _path(outside, frame),
        "ticks": _ticks(frame, GRID_STEP[fahrenheit], limits), "legs": _legs(curve, frame),
        "first": clock[0], "last": clock[-1],
        "unit": "°F" if fahrenheit else "°C", "rows": _rows(curve, unit),
        "coldest": min(inside, default=None), "warmest": max(inside, default=None),
        "comfort_low": limits[0], "comfort_high": limits[1],
    }  # fmt: skip
