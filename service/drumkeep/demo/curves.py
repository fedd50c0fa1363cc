"""Files that the simulated gateways play: a curve for each sensor, a scenario for each gateway."""

import json
from collections.abc import Sequence
from datetime import datetime
from pathlib import Path
from typing import Final

from drumkeep.demo import company
from drumkeep.demo.climate import Outdoors, outdoors
from drumkeep.demo.company import Gateway, Sensor
from drumkeep.demo.folder import Folder, replace_text
from drumkeep.demo.timetable import Timetable
from drumkeep.demo.weather import COLD_NIGHT, HOT_AFTERNOON, moved, read_year

_FOLDER: Final = "gateways"
_STATE: Final = "state"
HISTORY_INTERVAL_S: Final = 300


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
            curve = own / _points(sensor)
            if not curve.exists():
                air = air or _outdoors(timetable)
                _write_curve(curve, sensor, air[gateway.site])
        file = own / "scenario.json"
        replace_text(file, json.dumps(_scenario(gateway, timetable, broker_port), indent=1))
        files.append(file)
    return files


def all_confirmed(files: Sequence[Path], *, since: datetime) -> bool:
    """Tell whether every gateway has packed its readings up to a time, and all are confirmed."""
    return all(_confirmed(file, since=since.timestamp()) for file in files)


def _confirmed(file: Path, *, since: float) -> bool:
    scenario, spool = json.loads(file.read_bytes()), file.parent / _STATE
    ends = [sensor["silent_from"] for sensor in scenario["sensors"]]
    # Where every sensor is silent, nothing is packed beyond the last word of the last of them.
    last = since if None in ends else min(since, max(ends))
    try:
        packed_to = json.loads((spool / "state.json").read_bytes())["packed_to"]
    except FileNotFoundError:
        return False
    return (packed_to or 0.0) >= last and not any(spool.glob("*.pack"))


def _outdoors(timetable: Timetable) -> dict[str, Outdoors]:
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


def _write_curve(file: Path, sensor: Sensor, outside: Outdoors) -> None:
    lines = [
        f"{at.timestamp():.0f},{value:.2f}"
        for at, value in zip(outside.times, sensor.curve(outside), strict=True)
    ]
    replace_text(file, "\n".join(lines))


def _points(sensor: Sensor) -> str:
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
                "points": _points(sensor),
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
