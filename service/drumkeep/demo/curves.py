"""Files that the simulated gateways play: a curve for each sensor, a scenario for each gateway."""

import json
from collections.abc import Iterable, Sequence
from datetime import datetime, timedelta
from pathlib import Path
from typing import Final

from drumkeep.demo import company, probe
from drumkeep.demo.climate import STEP, Outdoors, outdoors
from drumkeep.demo.company import Gateway, Sensor
from drumkeep.demo.folder import Folder, replace_text
from drumkeep.demo.stock import batch_of
from drumkeep.demo.timetable import Timetable
from drumkeep.demo.weather import COLD_NIGHT, HOT_AFTERNOON, moved, read_year

_FOLDER: Final = "gateways"
_STATE: Final = "state"
HISTORY_INTERVAL_S: Final = 300

POWER_ON_C: Final = 85.0
"""What a DS18B20 says before its first conversion (its data sheet)."""
_LOOSE_EVERY: Final = 11
"""Steps from one start of a sensor with a loose wire to the next: 55 minutes."""
_AT_ONCE: Final = timedelta(seconds=1)

Points = Iterable[tuple[datetime, float]]


def sensors_of(gateway: Gateway) -> list[Sensor]:
    """Return the sensors that a gateway reads."""
    return [s for s in company.SENSORS if s.gateway == f"{gateway.site}/{gateway.code}"]


def write_scenarios(folder: Folder, *, timetable: Timetable, broker_port: int) -> list[Path]:
    """Write what the gateways play, and return their scenario files.

    Curves are written once: what a sensor has told stays told.
    """
    air: dict[str, Outdoors] = {}
    files = []
    for gateway in company.GATEWAYS:
        own = folder.part(_FOLDER, f"{gateway.site}-{gateway.code}")
        for sensor in sensors_of(gateway):
            curve = own / _file_of(sensor)
            if not curve.exists():
                air = air or outdoors_of_sites(timetable)
                points = _points_of(sensor, timetable=timetable, outside=air[gateway.site])
                lines = [f"{at.timestamp():.0f},{value:.2f}" for at, value in points]
                replace_text(curve, "\n".join(lines))
        file = own / "scenario.json"
        replace_text(file, json.dumps(_scenario(gateway, timetable, broker_port), indent=1))
        files.append(file)
    return files


def all_confirmed(files: Sequence[Path], *, since: datetime) -> bool:
    """Tell whether all that every gateway has read up to a time is confirmed."""
    return all(_confirmed(file, since=since.timestamp()) for file in files)


def _confirmed(file: Path, *, since: float) -> bool:
    try:
        played = json.loads((file.parent / _STATE / "played.json").read_bytes())
    except FileNotFoundError:
        return False
    return (played["confirmed_to"] or 0) >= since


def outdoors_of_sites(timetable: Timetable) -> dict[str, Outdoors]:
    """Return the outdoor air of each site."""
    year = read_year()
    spells = {
        company.COLD: (COLD_NIGHT, timetable.coldest),
        company.HOT: (HOT_AFTERNOON, timetable.hottest),
    }
    return {
        site: outdoors(
            moved(year, spell=spell, anchor=anchor, start=timetable.start, end=timetable.end)
        )
        for site, (spell, anchor) in spells.items()
    }


def _points_of(sensor: Sensor, *, timetable: Timetable, outside: Outdoors) -> Points:
    if sensor.curve is None:
        batch = batch_of(sensor.drum)
        values = probe.liquid(batch, timetable=timetable, outside=outside)
    else:
        values = sensor.curve(outside)
    points: Points = zip(outside.times, values, strict=True)
    if sensor.since is not None:
        since = sensor.since(timetable)
        points = ((at, value) for at, value in points if at >= since)
    if sensor.stuck_from is not None:
        points = _stuck(points, since=sensor.stuck_from(timetable))
    return _loose(points) if sensor.loose_wire else points


def _stuck(points: Points, *, since: datetime) -> Points:
    last: float | None = None
    for at, value in points:
        last = value if last is None or at < since else last
        yield at, last


def _loose(points: Points) -> Points:
    """Let a step now and then say what cannot be, from one second to another."""
    for index, (at, value) in enumerate(points):
        if index % _LOOSE_EVERY:
            yield at, value
        else:
            yield at - _AT_ONCE, value
            yield at, POWER_ON_C
            yield at + STEP - 2 * _AT_ONCE, POWER_ON_C


def _file_of(sensor: Sensor) -> str:
    return sensor.name.replace(":", "-") + ".csv"


def _scenario(gateway: Gateway, timetable: Timetable, broker_port: int) -> dict[str, object]:
    return {
        "site": gateway.site,
        "gateway": gateway.code,
        "urn": gateway.urn,
        "state": _STATE,
        "broker": {"host": "127.0.0.1", "port": broker_port},
        "history_from": timetable.start.timestamp(),
        "sensors": [
            {
                "name": sensor.name,
                "unit": sensor.unit,
                "points": _file_of(sensor),
                "history_interval_s": HISTORY_INTERVAL_S,
                "live_interval_s": company.INTERVAL_S,
                "silent_from": None
                if sensor.silent_from is None
                else sensor.silent_from(timetable).timestamp(),
                "beyond": "repeat",
            }
            for sensor in sensors_of(gateway)
        ],
    }
