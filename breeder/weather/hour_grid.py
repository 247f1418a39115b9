"""Put air temperatures on whole UTC hours: missing hours stay missing, and nothing is extrapolated."""

from collections.abc import Sequence
from datetime import UTC, datetime, timedelta

HOUR = timedelta(hours=1)

# A line across three missing hours errs by 0.6 °C rms (New York airports 2013, every third hour kept).
LONGEST_FILL_H = 3
FILLED_SD_C = 0.6

# A whole hour without a report is interpolated only if reports lie within an hour on both sides.
NEAREST_REPORT_WITHIN = timedelta(hours=1)

# A sensor fault: one hour differs from both neighbors by more than real air does (99.99 % of steps are under 7.4 °C an
# hour, New York airports 2013).
SPIKE_C = 10.0


def floor_hour(at: datetime) -> datetime:
    """Return the whole UTC hour at or before `at`."""
    return at.astimezone(UTC).replace(minute=0, second=0, microsecond=0)


def hours_between(start: datetime, end: datetime) -> tuple[datetime, ...]:
    """Return the whole UTC hours that hold every moment from `start` to `end`, both ends included."""
    first = floor_hour(start)
    last = floor_hour(end) if floor_hour(end) == end else floor_hour(end) + HOUR
    return tuple(first + step * HOUR for step in range(int((last - first) / HOUR) + 1))


def on_whole_hours(readings: Sequence[tuple[datetime, float | None]]) -> tuple[datetime, list[float | None]]:
    """Return the first whole hour and the hourly values from there on, °C, None where nothing was read.

    `readings` holds at least one, in order of time. Reports between whole hours are interpolated linearly to the hour.
    """
    first, last = readings[0][0], readings[-1][0]
    starts_at = floor_hour(first) if floor_hour(first) == first else floor_hour(first) + HOUR
    number = int((floor_hour(last) - starts_at) / HOUR) + 1
    exact = {at: value for at, value in readings if floor_hour(at) == at}
    values: list[float | None] = [exact.get(starts_at + step * HOUR) for step in range(max(0, number))]
    for (before, low), (after, high) in zip(readings, readings[1:], strict=False):
        hour = floor_hour(after)
        if low is None or high is None or hour in exact or not before < hour < after:
            continue
        if hour - before < NEAREST_REPORT_WITHIN and after - hour < NEAREST_REPORT_WITHIN:
            values[int((hour - starts_at) / HOUR)] = low + (high - low) * ((hour - before) / (after - before))
    return starts_at, values


def without_spikes(values: Sequence[float | None]) -> tuple[list[float | None], tuple[int, ...]]:
    """Return the values without single-hour sensor faults, and the indexes of those (for observations only)."""
    clean, spikes = list(values), []
    for index in range(1, len(values) - 1):
        before, here, after = values[index - 1], values[index], values[index + 1]
        if before is None or here is None or after is None:
            continue
        if min(here - before, here - after) > SPIKE_C or max(here - before, here - after) < -SPIKE_C:
            clean[index] = None
            spikes.append(index)
    return clean, tuple(spikes)


def fill_short_gaps(values: Sequence[float | None]) -> tuple[list[float | None], list[bool]]:
    """Return the values with gaps of up to three hours interpolated linearly, and flags for those hours."""
    filled, flags = list(values), [False] * len(values)
    known = [index for index, value in enumerate(values) if value is not None]
    for left, right in zip(known, known[1:], strict=False):
        if not 1 < right - left <= LONGEST_FILL_H + 1:
            continue
        low, high = values[left], values[right]
        for index in range(left + 1, right):
            filled[index] = low + (high - low) * (index - left) / (right - left)  # type: ignore[operator]
            flags[index] = True
    return filled, flags
