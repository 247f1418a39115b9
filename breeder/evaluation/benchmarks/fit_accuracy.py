"""`manage.py bench fit`: measure boxes in a simulation that differs from the model behind the fit.

The simulation cuts the walls into thin slices with air leaking past them, and steps by the trapezoid rule. The fit has
two wall nodes, no separate leak, and exact steps. Weather: real hours that come with the stock book. Random draws use
fixed seeds.
"""

from dataclasses import asdict, dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from breeder.core.thermal import box_fit
from breeder.core.thermal.kit import ShippingBox, WallLayer
from breeder.weather import sample_data

Array = NDArray[np.float64]

INNER_M = (0.25, 0.20, 0.15)
LITRES = 0.5
LINERS_MM = {"card": 0.0, "foam 19 mm": 19.0, "foam 38 mm": 38.0}
RUNS = 40
HOURS = 30
STEP_S = 60.0
SLICES = 6  # of each layer
READ_EVERY_S = (300, 600, 900)
WATER_J_K = LITRES * 4186.0
# Conductivity W/mK, density kg/m3 and heat capacity J/kgK of foam and card in real boxes (centers from handbooks;
# the ranges are our judgment).
FOAM, CARD = ((0.033, 0.039), (15.0, 25.0), 1470.0), ((0.05, 0.07), (110.0, 170.0), 1340.0)


@dataclass(frozen=True)
class SimulatedRun:
    """One simulated run: what its loggers recorded, and the truth behind it."""

    liner: str
    conductance_w_k: float
    film_w_k: float
    hours: Array
    outside_c: Array
    bottle_c: Array
    air_c: Array


def drawn_box(liner: str) -> ShippingBox:
    """Return the box as drawn."""
    foam = (WallLayer("eps", LINERS_MM[liner]),) if LINERS_MM[liner] else ()
    return ShippingBox(INNER_M, (*foam, WallLayer("corrugated", 4.0)))


def logged_runs(runs: int = RUNS, seed: int = 1, *, cups: bool = False) -> list[SimulatedRun]:
    """Return simulated runs, with card and two foams in turn; `cups`: cups were left in the box by mistake."""
    rng = np.random.default_rng(seed)
    return [_logged(list(LINERS_MM)[run % len(LINERS_MM)], rng, cups) for run in range(runs)]


def _logged(liner: str, rng: np.random.Generator, cups: bool) -> SimulatedRun:
    """Return what loggers record in a box that is carried from a room into real hours outdoors."""
    flow, capacity, outward, truth, film = _wall_model(liner, rng)
    if cups:
        flow, capacity, outward = _with_cups(flow, capacity, outward)
    weather = _weather(rng)
    room_c = rng.uniform(18.0, 23.0)
    states = _course(flow, capacity, outward, weather, room_c)
    every = int(rng.choice(READ_EVERY_S) / STEP_S)
    rough = rng.choice((0.1, 0.1, 0.5))  # the loggers' resolution, K

    def read(curve: Array) -> Array:
        noise = rng.normal(0.0, 0.1, len(curve[::every]))
        return np.round((curve[::every] + noise + rng.normal(0.0, 0.1)) / rough) * rough

    hours = np.arange(len(weather))[::every] * STEP_S / 3600.0
    return SimulatedRun(liner, truth, film, hours, read(weather), read(states[:, 1]), read(states[:, 0]))


def _wall_model(liner: str, rng: np.random.Generator) -> tuple[Array, Array, Array, float, float]:
    """Return flow (n, n) W/K, capacity (n,) J/K, conductance to outside (n,) W/K, and the truth: air to outside, film.

    Nodes: air, bottle, slices of wall from the inside outwards.
    """
    inside, outside = rng.uniform(5.0, 7.5), rng.uniform(7.0, 12.0)  # films, W/m2K
    sides = np.array(INNER_M)
    resistance, heat = [1.0 / (inside * _area(sides))], []
    for (k, rho, c), mm in ((FOAM, LINERS_MM[liner]), (CARD, 4.0)):
        conducts, weighs = rng.uniform(*k), rng.uniform(*rho)
        for _ in range(SLICES if mm else 0):
            grown = sides + 2.0 * mm / 1000.0 / SLICES
            half = 0.5 * mm / 1000.0 / SLICES / (conducts * np.sqrt(_area(sides) * _area(grown)))
            resistance[-1] += half
            resistance.append(half)
            heat.append((grown.prod() - sides.prod()) * weighs * c)
            sides = grown
    resistance[-1] += 1.0 / (outside * _area(sides))
    through = 1.0 / np.array(resistance)
    # Seams: real boxes lose 15 % more heat, give or take 15 % (trade note), past the walls rather than through them.
    leak = max(rng.normal(0.15, 0.15), 0.0) / sum(resistance)
    film = rng.uniform(0.2, 0.6)
    n = 2 + len(heat)
    flow = np.zeros((n, n))
    chain = [0, *range(2, n)]
    for a, b, g in [(0, 1, film), *zip(chain[:-1], chain[1:], through[:-1], strict=True)]:
        flow[[a, b], [a, b]] -= g
        flow[[a, b], [b, a]] += g
    outward = np.zeros(n)
    outward[0], outward[-1] = leak, outward[-1] + through[-1]
    capacity = np.array([np.prod(INNER_M) * 1.2 * 1006.0 + rng.uniform(0.0, 30.0), WATER_J_K, *heat])
    return flow, capacity, outward, leak + 1.0 / sum(resistance), film


def _with_cups(flow: Array, capacity: Array, outward: Array) -> tuple[Array, Array, Array]:
    """Return the same with one more node in the air: eight cups of 0.45 kg in all (1,500 J/K through 1.1 W/K)."""
    n = len(capacity)
    grown = np.pad(flow, (0, 1))
    grown[[0, n], [0, n]] -= 1.1
    grown[[0, n], [n, 0]] += 1.1
    return grown, np.append(capacity, 1500.0), np.append(outward, 0.0)


def _area(sides: Array) -> float:
    return float(2.0 * (sides[0] * sides[1] + sides[1] * sides[2] + sides[0] * sides[2]))


def _weather(rng: np.random.Generator) -> Array:
    """Return a night and a day of real hours at the simulation's steps, °C, always colder than the room."""
    _, hours = sample_data.station_hours(str(rng.choice(("LGA", "JFK"))))
    while True:
        start = int(rng.integers(len(hours) - HOURS))
        window = np.array(hours[start : start + HOURS + 1], dtype=float)  # None becomes NaN
        if np.isfinite(window).all() and np.median(window) < 8.0:
            return np.interp(np.arange(HOURS * 3600 / STEP_S + 1) * STEP_S / 3600.0, np.arange(HOURS + 1), window)


def _course(flow: Array, capacity: Array, outward: Array, weather: Array, start_c: float) -> Array:
    """Return the states (steps, n) by the trapezoid rule."""
    a = (flow - np.diag(outward)) / capacity[:, None] * STEP_S / 2.0
    b = outward / capacity * STEP_S / 2.0
    behind = np.linalg.inv(np.eye(len(a)) - a)
    ahead, push = behind @ (np.eye(len(a)) + a), behind @ b
    states = np.empty((len(weather), len(a)))
    states[0] = start_c
    for step in range(1, len(weather)):
        states[step] = ahead @ states[step - 1] + push * (weather[step - 1] + weather[step])
    return states


@dataclass(frozen=True)
class Score:
    """How well some runs were measured: how many got an answer, and the shares and medians of those."""

    runs: int
    answered: int
    inside_95: float | None  # |ln error| at most 1.96 log_sd
    median_error: float | None
    median_bias: float | None
    median_log_sd: float | None


def good_fit(each: SimulatedRun, *, with_air: bool) -> box_fit.BoxFit | None:
    """Return the fit of a run, with or without the second logger; None if the fit refuses or is doubtful."""
    try:
        answer = box_fit.fit_box(
            drawn_box(each.liner),
            each.hours,
            each.outside_c,
            each.bottle_c,
            litres=LITRES,
            air_c=each.air_c if with_air else None,
        )
    except box_fit.CannotFit:
        return None
    return answer if answer.is_good else None


def fit_score(logged: list[SimulatedRun], answers: list[box_fit.BoxFit | None]) -> Score:
    """Return how far the answers are from the truth of their runs."""
    pairs = [
        (np.log(answer.conductance_w_k / each.conductance_w_k), answer.log_sd)
        for each, answer in zip(logged, answers, strict=True)
        if answer
    ]
    if not pairs:
        return Score(len(logged), 0, None, None, None, None)
    off, sd = np.array(pairs).T
    shares = np.mean(np.abs(off) <= 1.96 * sd), np.median(np.abs(np.expm1(off))), np.median(off), np.median(sd)
    return Score(len(logged), len(off), *(float(share) for share in shares))


def run() -> dict[str, Any]:
    """Return how well simulated boxes are measured, by number of loggers and by wall."""
    logged = logged_runs()
    figures: dict[str, Any] = {
        "subject": "fit",
        "simulation": f"{RUNS} boxes of sliced walls and a leak, {HOURS} real hours outdoors, films of 0.2 to 0.6 W/K",
    }
    for name, with_air in (("one logger, on the bottle", False), ("a second logger in the air", True)):
        answers = [good_fit(each, with_air=with_air) for each in logged]
        figures[name] = {}
        for group in ("all", *LINERS_MM):
            chosen = [at for at, each in enumerate(logged) if group in ("all", each.liner)]
            score = fit_score([logged[at] for at in chosen], [answers[at] for at in chosen])
            figures[name][group] = asdict(score)
    return figures
