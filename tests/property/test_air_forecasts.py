"""Whatever is sent as CSV is read or refused with a reason; what is written so is read back."""

from datetime import UTC, datetime, timedelta

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from drumkeep.domain.air_forecasts import checked, from_csv
from drumkeep.errors import Invalid

NOW = datetime(2026, 2, 4, 12, tzinfo=UTC)
CELLS = st.one_of(
    st.text(max_size=12),
    st.datetimes(timezones=st.timezones() | st.none()).map(datetime.isoformat),
    st.floats().map(str),
)


def tried(text):
    """Return the forecast that a text makes, or what is wrong with it."""
    try:
        return checked(from_csv(text), issued_at=NOW, now=NOW), ()
    except Invalid as error:
        return None, error.faults


@given(st.text())
def test_any_text_is_read_or_refused(text):
    found, faults = tried(text)

    assert (found is None) == bool(faults)


@given(st.lists(st.tuples(CELLS, CELLS), max_size=5))
def test_any_lines_under_a_header_are_read_or_refused(rows):
    found, faults = tried("time,temperature_c\n" + "".join(f"{at},{c}\n" for at, c in rows))

    assert (found is None) == bool(faults)
    assert all(fault.field and fault.mend for fault in faults)
    assert found is None or np.isfinite(found.c).all()


@given(
    st.lists(st.floats(-60.0, 60.0), min_size=2, max_size=40),
    st.integers(-12 * 4, 14 * 4),
    st.floats(0.25, 3.0),
)
def test_what_is_written_is_read_back(temperatures, quarters, every_h):
    zone = timedelta(minutes=15 * quarters)
    times = [NOW + timedelta(hours=i * every_h) for i in range(len(temperatures))]
    sign, minutes = ("-" if quarters < 0 else "+"), abs(15 * quarters)
    offset = f"{sign}{minutes // 60:02d}:{minutes % 60:02d}"
    rows = [
        f"{(at + zone).replace(tzinfo=None).isoformat()}{offset},{c!r}"
        for at, c in zip(times, temperatures, strict=True)
    ]
    found = checked(from_csv("\n".join(["time,c", *rows])), issued_at=NOW, now=NOW)

    assert found.c.tolist() == temperatures
    assert found.at_s == pytest.approx([at.timestamp() for at in times], abs=1e-5)
