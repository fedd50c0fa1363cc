"""Air as it really was is doubted nowhere: not for cold fronts, nor for still nights.

Typical years measured at airfields: TMY3 723170 (Greensboro) and 703165 (Sand Point), NREL 2008;
TMY2 12839 (Miami), NREL 1995, as they ship in pvlib 0.16. Their months come from different years,
so the hour at which one month follows another may jump; the rules must bear that too.
"""

import numpy as np
import pytest

from drumkeep.domain.places import PlaceKind
from drumkeep.domain.plausibility import HOUR_MS, doubts_of
from drumkeep.domain.sensor_series import SensorSeries
from tests.builders.standstills import stuck_spans
from tests.builders.weather import HOURS, YEARS, typical_year

OPEN = (PlaceKind.YARD, PlaceKind.DOCK, PlaceKind.JOB_SITE, PlaceKind.VEHICLE)


@pytest.mark.parametrize("year", YEARS)
@pytest.mark.parametrize("lost", [0.0, 0.1, 0.6])
def test_a_year_by_the_hour_with_hours_missing_is_believed(year, lost):
    kept = np.random.default_rng(7).random(HOURS) >= lost
    series = SensorSeries(
        ts_ms=(np.arange(HOURS, dtype=np.int64) * HOUR_MS)[kept],
        value_c=typical_year(year)[kept],
        interval_s=3600.0,
        error_k=0.5,
    )

    for kind in OPEN:
        assert doubts_of(series, kind=kind) == []
        assert stuck_spans(series, kind=kind) == []


@pytest.mark.parametrize("year", YEARS)
def test_a_year_read_every_five_minutes_in_steps_of_a_sixteenth_is_believed(year):
    hours = np.arange(0.0, HOURS - 1, 1 / 12)
    air = np.interp(hours, np.arange(HOURS), typical_year(year))
    series = SensorSeries(
        ts_ms=np.round(hours * HOUR_MS).astype(np.int64),
        value_c=np.round(air * 16.0) / 16.0,
        interval_s=300.0,
        error_k=0.5,
    )

    for kind in OPEN:
        assert doubts_of(series, kind=kind) == []
        assert stuck_spans(series, kind=kind) == []
