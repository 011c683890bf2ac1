"""
Where the sun stands: the NREL SPA worked example (NREL/TP-560-34302, rev. 2008, Table A5.1) without its refraction,
figures from SPA and skyfield (DE421) as check-values tables them, and the astral library as an independent second.
"""

from __future__ import annotations

from datetime import UTC, datetime, timedelta, timezone

import astral
import astral.sun
import pytest

from server.exposure.refused import OutOfRange
from server.exposure.sun import Site, sun_path


def test_nrel_spa_worked_example():
    """2003-10-17 12:30:30 at UTC-7: e0 = 39.872046 degrees. It has the parallax of a height of 1830 m; ours is at sea level."""
    at = datetime(2003, 10, 17, 12, 30, 30, tzinfo=timezone(timedelta(hours=-7)))
    assert sun_path(Site(39.742476, -105.1786), [at])[0][0] == pytest.approx(39.872046, abs=1e-3)


@pytest.mark.parametrize(
    ("latitude", "longitude", "at", "altitude"),
    [
        (51.4769, 0, datetime(2026, 6, 20, 12, 0, tzinfo=UTC), 61.9558),
        (51.4769, 0, datetime(2026, 6, 20, 20, 45, tzinfo=UTC), -3.5827),
        (51.4769, 0, datetime(2026, 12, 19, 14, 0, tzinfo=UTC), 10.3907),
        (-33.8688, 151.2093, datetime(2026, 11, 14, 8, 30, tzinfo=UTC), 0.1416),
        (-0.1807, -78.4678, datetime(2026, 3, 21, 17, 20, tzinfo=UTC), 89.3380),
        (69.6492, 18.9553, datetime(2026, 12, 21, 10, 40, tzinfo=UTC), -3.0892),
    ],
)
def test_true_altitudes_of_spa_and_skyfield(latitude, longitude, at, altitude):
    """To a thousandth of a degree."""
    assert sun_path(Site(latitude, longitude), [at])[0][0] == pytest.approx(altitude, abs=1e-3)


@pytest.mark.parametrize("latitude", [-55, -23.4, 0, 35.7, 51.5, 69.6])
@pytest.mark.parametrize("month", [1, 4, 6, 9, 12])
def test_astral_agrees_to_two_hundredths_of_a_degree(latitude, month):
    """Around the clock, without refraction; the library states its own precision as a hundredth."""
    observer = astral.Observer(latitude, 12.5, 0)
    times = [datetime(2026, month, 15, hour, 7, tzinfo=UTC) for hour in range(24)]
    for time, ours in zip(times, sun_path(Site(latitude, 12.5), times)[0], strict=True):
        assert ours == pytest.approx(astral.sun.elevation(observer, time, with_refraction=False), abs=0.02)


@pytest.mark.parametrize("at", [datetime(9999, 1, 1, tzinfo=UTC), datetime(1, 1, 1, tzinfo=UTC), datetime(2026, 1, 1)])  # noqa: DTZ001 - a naive time is the point
def test_times_that_cannot_be_are_refused(at):
    """Beyond the ephemeris, or without an offset."""
    with pytest.raises(OutOfRange):
        sun_path(Site(0, 0), [at])[0]
