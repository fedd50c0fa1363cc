"""A logger's download is read back as the readings that it was written from, however written."""

import csv
import io
from collections.abc import Callable
from contextlib import suppress
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta, timezone
from zoneinfo import ZoneInfo

import pytest
from hypothesis import given
from hypothesis import strategies as st

from drumkeep.domain.logger_columns import LoggerOptions
from drumkeep.domain.logger_files import LoggerReadings, read_logger_file
from drumkeep.domain.logger_tables import read_table
from drumkeep.domain.sensors import Quantity
from drumkeep.errors import Invalid

NOW = datetime(2026, 11, 25, 12, tzinfo=UTC)
CHICAGO = ZoneInfo("America/Chicago")
WINTER = timezone(timedelta(hours=-6))
AIR, DAMP = "urn:dev:ow:10e2073a01080063:temp", "urn:dev:ow:10e2073a01080063:damp"
QUANTITIES = {AIR: Quantity.TEMPERATURE, DAMP: Quantity.HUMIDITY}

Stamp = Callable[[datetime], str]
STAMPS: dict[str, Stamp] = {
    "iso": lambda t: f"{t:%Y-%m-%dT%H:%M:%S}",
    "iso with offset": lambda t: t.isoformat(),
    "iso basic": lambda t: f"{t.astimezone(UTC):%Y%m%dT%H%M%SZ}",
    "spaced": lambda t: f"{t:%Y-%m-%d %H:%M}",
    "slashes": lambda t: f"{t:%Y/%m/%d %H:%M:%S}.000",
    "us": lambda t: f"{t.month}/{t.day}/{t:%Y} {t.hour % 12 or 12}:{t:%M %p}",
    "us short": lambda t: f"{t:%m/%d/%y %I:%M:%S %p}".lower(),
    "points": lambda t: f"{t:%d.%m.%Y %H:%M}",
    "named": lambda t: f"{t:%d-%b-%Y %H:%M:%S}",
    "named us": lambda t: f"{t:%b %d, %Y %I:%M %p}",
    "epoch": lambda t: f"{t.timestamp():.0f}",
    "epoch ms": lambda t: f"{t.timestamp() * 1000:.0f}",
}


@dataclass(frozen=True)
class Writer:
    """How a program writes its file."""

    separator: str
    comma: bool
    encoding: str
    stamp: str
    fahrenheit: bool
    long: bool
    preamble: tuple[str, ...]
    newest_first: bool
    units_apart: bool
    newline: str

    def number(self, value: float) -> str:
        return f"{value:.2f}".replace(".", "," if self.comma else ".")

    def temperature(self, celsius: float | None) -> str:
        if celsius is None:
            return "---"
        return self.number(celsius * 1.8 + 32 if self.fahrenheit else celsius)

    def write(self, rows: list[tuple[datetime, float | None, float]]) -> bytes:
        file = io.StringIO()
        out = csv.writer(file, delimiter=self.separator, lineterminator=self.newline)
        for line in self.preamble:
            file.write(line + self.newline)
        unit = "°F" if self.fahrenheit else "°C"
        stamp = STAMPS[self.stamp]
        if self.long:
            out.writerow(["Time", "Name", "Value", "Unit"])
            lines = [
                [stamp(at), *cells]
                for at, air, damp in rows
                for cells in (
                    (AIR, self.temperature(air), unit),
                    (DAMP, self.number(damp), "%RH"),
                )
            ]
        else:
            apart = self.units_apart
            out.writerow(
                [
                    "No.",
                    "Date Time",
                    *(["Dock", "Damp"] if apart else [f"Dock ({unit})", "Damp, %"]),
                ]
            )
            if apart:
                out.writerow(["", "", unit, "%"])
            lines = [
                [str(i), stamp(at), self.temperature(air), self.number(damp)]
                for i, (at, air, damp) in enumerate(rows)
            ]
        out.writerows(reversed(lines) if self.newest_first else lines)
        return file.getvalue().encode(self.encoding)


writers = st.builds(
    Writer,
    separator=st.sampled_from(",;\t|"),
    comma=st.booleans(),
    encoding=st.sampled_from(["utf-8", "utf-8-sig", "utf-16", "cp1252"]),
    stamp=st.sampled_from(sorted(STAMPS)),
    fahrenheit=st.booleans(),
    long=st.booleans(),
    preamble=st.sampled_from(
        [
            (),
            ("Serial 20411",),
            ("Logger;20411", "Site: dock, north", "", 'Note: 5" pipe'),
            ("sep=;",),
        ]
    ),
    newest_first=st.booleans(),
    units_apart=st.booleans(),
    newline=st.sampled_from(["\n", "\r\n"]),
)
temperatures = st.integers(-4000, 6000).map(lambda n: n / 100)
humidities = st.integers(0, 10_000).map(lambda n: n / 100)


@st.composite
def recordings(draw: st.DrawFn) -> list[tuple[datetime, float | None, float]]:
    """Give a recording without gaps round the end of summer time in Chicago, 07:00Z."""
    begins = datetime(2026, 11, 1, 3, tzinfo=UTC) + timedelta(minutes=draw(st.integers(0, 200)))
    every = timedelta(minutes=draw(st.sampled_from([1, 5, 10, 15, 30])))
    values = draw(
        st.lists(st.tuples(st.none() | temperatures, humidities), min_size=2, max_size=30)
    )
    return [(begins + i * every, air, damp) for i, (air, damp) in enumerate(values)]


def read(content: bytes, **said: object) -> LoggerReadings:
    options = LoggerOptions(**{"site_zone": CHICAGO, **said})  # type: ignore[arg-type]
    return read_logger_file(read_table(content), options=options, quantities=QUANTITIES, now=NOW)


@given(writer=writers, rows=recordings(), zone=st.sampled_from([CHICAGO, WINTER, UTC]))
def test_readings_come_back_as_they_were_written(
    writer: Writer, rows: list[tuple[datetime, float | None, float]], zone: ZoneInfo
):
    content = writer.write([(at.astimezone(zone), air, damp) for at, air, damp in rows])
    said = {} if writer.long else {"sensors": {"Dock": AIR, "Damp": DAMP}}
    # In a file of one day nothing else tells which of the two is the month.
    found = read(content, zone=zone, day_first=False, **said)

    assert list(found.rejections) == []
    for name, meant in (
        (AIR, [(at, air) for at, air, _ in rows if air is not None]),
        (DAMP, [(at, damp) for at, _, damp in rows]),
    ):
        got = sorted((r.ts_ms, r.value) for r in found.readings if r.sensor_name == name)
        assert [ts for ts, _ in got] == [round(at.timestamp() * 1000) for at, _ in meant]
        # Written in °F to hundredths.
        assert [value for _, value in got] == pytest.approx([v for _, v in meant], abs=0.006)
    assert found.empty == sum(air is None for _, air, _ in rows)


BITS = st.sampled_from(
    [
        *(
            "2026-11-25 14:05",
            "11/25/2026 2:05 PM",
            "25.11.2026",
            "14:05",
            "1795615500",
            "99/99/99",
        ),
        *("time", "name", "value", "unit", "°F", "%", "C", AIR, "21,5", "-3.25", "1e999", "NaN"),
        *(
            "---",
            "",
            '"',
            '""',
            ";",
            ",",
            "\t",
            "\r",
            "\n",
            "\n",
            "\N{MINUS SIGN}4",
            "٣",
            "é",
            "\0",
        ),
        *("24:00", "2026-02-30", "12:61 PM", "GMT-06:00", "9" * 400, "1.2.3,4", "+", "."),
    ]
)


@given(st.lists(BITS, max_size=60).map("".join) | st.text(max_size=300))
def test_no_text_breaks_it(text: str):
    with suppress(Invalid):
        found = read(text.encode(errors="replace"), sensors={"1": AIR, "2": DAMP})
        assert all(told.index for told in found.rejections)


@given(st.binary(max_size=300))
def test_no_octets_break_it(content: bytes):
    with suppress(Invalid):
        read(content, sensors={"1": AIR})
