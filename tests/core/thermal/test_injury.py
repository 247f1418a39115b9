"""Thermal injury against the published worked examples of Jorgensen et al. 2021, Scientific Reports 11:12840."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from breeder.core.thermal import injury

CRITICAL_C = 19
# D. melanogaster, guide figure S3.
FLY = injury.fit_static([36, 38, 40], [292.0, 82.25, 13.25], CRITICAL_C)


def test_the_static_fit_of_the_published_example() -> None:
    assert pytest.approx(-0.335791743, abs=1e-9) == FLY.beta
    assert pytest.approx(14.594331124, abs=1e-8) == FLY.alpha
    assert pytest.approx(2.978036, abs=1e-6) == FLY.z_k
    assert FLY.celsius([5, 60, 120]) == pytest.approx([41.38, 38.17, 37.27], abs=0.005)  # as printed
    assert FLY.minutes([34, 36, 38, 40]) == pytest.approx([1504.568, 320.500, 68.272, 14.543], abs=0.001)


def test_the_ramp_fit_of_the_published_example() -> None:
    """Guide figure S4; the guide prints 30.33 for 0.15 a minute, a misprint for 40.33."""
    line = injury.fit_ramps([0.05, 0.10, 0.25], [39.73, 39.86, 40.75], start_c=19, critical_c=CRITICAL_C)
    assert line.z_k == pytest.approx(1.4999, abs=0.001)
    assert float(line.celsius(60)) == pytest.approx(38.6185, abs=0.001)
    assert injury.ramp_end_c(line, [0.025, 0.20, 0.15], 19) == pytest.approx([39.16, 40.52, 40.33], abs=0.005)


def test_a_ramp_goes_there_and_back() -> None:
    line = injury.line_from(38.6, 1.5, CRITICAL_C)
    ends = injury.ramp_end_c(line, [0.05, 0.25], 19)
    back = injury.ramp_to_static_c(ends, [0.05, 0.25], z_k=1.5, start_c=19, critical_c=CRITICAL_C)
    assert back == pytest.approx([38.6, 38.6])


def test_injury_adds_up_over_steps() -> None:
    assert injury.injury_percent(FLY, [0, 320.500], [36, 36]) == pytest.approx(100, abs=1e-3)
    stepped = injury.injury_percent(FLY, [0, 100], [36, 36]) + injury.injury_percent(FLY, [0, 30], [38, 38])
    assert stepped == pytest.approx(75.1429, abs=1e-3)


def test_an_hourly_course_by_the_exact_integral() -> None:
    """Computed (no outside source): 22.1298 %; by the warmer end of each hour it would be 32.8184 %."""
    minutes, celsius = np.arange(0, 481, 60), [24, 28, 32, 34, 35, 35, 33, 30, 26]
    assert injury.injury_percent(FLY, minutes, celsius) == pytest.approx(22.1298, abs=1e-3)


@settings(max_examples=30, deadline=None)
@given(st.lists(st.floats(10, 42), min_size=2, max_size=12), st.floats(0.1, 3))
def test_warmer_never_injures_less_and_splitting_a_stretch_changes_nothing(course: list[float], more: float) -> None:
    minutes = np.arange(len(course)) * 60.0
    whole = injury.injury_percent(FLY, minutes, course)
    assert injury.injury_percent(FLY, minutes, np.array(course) + more) >= whole - 1e-9
    finer = np.sort(np.concatenate([minutes, minutes[:-1] + 17.0]))
    assert injury.injury_percent(FLY, finer, np.interp(finer, minutes, course)) == pytest.approx(
        whole, rel=1e-6, abs=1e-9
    )


def test_below_the_critical_temperature_nothing_counts() -> None:
    assert injury.injury_percent(FLY, [0, 6000], [5, 18.9]) == 0


@pytest.mark.parametrize(
    "wrong",
    [
        lambda: injury.Line(14, 0.3, 19),
        lambda: injury.line_from(38, 0, 19),
        lambda: injury.fit_static([36, 36], [10, 20], 19),
        lambda: injury.injury_percent(FLY, [0, 0], [30, 30]),
    ],
)
def test_what_cannot_be_is_refused_in_a_sentence(wrong: object) -> None:
    with pytest.raises(ValueError, match=r"\."):
        wrong()  # type: ignore[operator]


def test_the_one_hour_temperature_takes_an_hour():
    assert float(injury.line_from(38.5, 2.0, 33.0).minutes(38.5)) == pytest.approx(60)
