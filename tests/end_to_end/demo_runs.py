"""Runs of the demo command, and what the service showed of them over HTTP."""

import json
import signal
import subprocess
import sys
import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass, field
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

import httpx

COMPUTED = "Every drum is computed up to now"

Json = dict[str, Any]
Left = dict[int, str]


def wait_for(what: str, done: Callable[[], bool], *, within_s: float) -> None:
    deadline = time.monotonic() + within_s
    while not done():
        assert time.monotonic() < deadline, f"not within {within_s} s: {what}"
        time.sleep(0.1)


def left_over(folder: Path) -> dict[int, str]:
    """Return the command lines of processes that name the folder, by process."""
    found = {}
    for file in Path("/proc").glob("[0-9]*/cmdline"):
        try:
            line = file.read_bytes().replace(b"\0", b" ").decode(errors="replace")
        except OSError:
            continue  # it has just ended
        if str(folder) in line:
            found[int(file.parent.name)] = line
    return found


@dataclass
class Run:
    """One run of the command."""

    process: subprocess.Popen[bytes]
    out: Path

    def told(self) -> str:
        return self.out.read_text()

    def wait_for_words(self, words: str, *, within_s: float) -> None:
        def said() -> bool:
            assert self.process.poll() is None, self.told()
            return words in self.told()

        wait_for(words, said, within_s=within_s)

    def stop(self) -> int:
        self.process.send_signal(signal.SIGTERM)
        return self.process.wait(60)


@contextmanager
def demo(folder: Path, port: int, *arguments: str) -> Iterator[Run]:
    out = folder.with_suffix(".out")
    command = [sys.executable, "-m", "drumkeep", "demo", "--data-dir", str(folder)]
    with out.open("wb") as written:
        process = subprocess.Popen(
            [*command, "--port", str(port), *arguments], stdout=written, stderr=subprocess.STDOUT
        )
    try:
        yield Run(process, out)
    finally:
        process.kill()
        process.wait()


@dataclass
class Seen:
    """What the API showed once all was computed, and what was left when it was stopped."""

    folder: Path
    begun: datetime
    looked_at: datetime
    told: str = ""
    drums: list[Json] = field(default_factory=list)
    drums_later: list[Json] = field(default_factory=list)
    alarms: list[Json] = field(default_factory=list)
    alarms_later: list[Json] = field(default_factory=list)
    histories: dict[str, Json] = field(default_factory=dict)
    verdicts: dict[str, str] = field(default_factory=dict)
    films: dict[str, Json] = field(default_factory=dict)
    sensors: list[Json] = field(default_factory=list)
    forecast: Json = field(default_factory=dict)
    roles: set[str] = field(default_factory=set)
    interrupted: tuple[int, Left] = (-1, {})
    stopped: tuple[int, Left] = (-1, {})
    bereft: tuple[int, Left, str] = (-1, {}, "")
    after_kill: Left = field(default_factory=dict)

    def of(self, place: str, **wanted: object) -> list[Json]:
        return [
            drum
            for drum in self.drums
            if drum["place"] == place and all(drum[k] == v for k, v in wanted.items())
        ]

    def alarm(self, kind: str, cause: str) -> Json:
        (found,) = (a for a in self.alarms if (a["kind"], a["cause"]) == (kind, cause))
        return found

    @property
    def database(self) -> Path:
        """A copy of the database as the stopped service left it."""
        return self.folder.with_suffix(".copy") / "drumkeep.db"


@contextmanager
def signed_in(seen: Seen, url: str, role: str) -> Iterator[httpx.Client]:
    names = {"manager": "mara", "dispatcher": "dov", "crew": "cleo", "viewer": "vic"}
    kept = json.loads((seen.folder / "sign-ins.json").read_text())
    with httpx.Client(base_url=url, timeout=30) as client:
        answer = client.post("/api/v1/session", json={"name": names[role], "password": kept[role]})
        assert answer.status_code == 201, answer.text
        client.headers["X-CSRF-Token"] = answer.json()["csrf"]
        seen.roles.add(answer.json()["role"])
        yield client


def look(seen: Seen, url: str) -> None:
    for role in ("manager", "dispatcher", "crew"):
        with signed_in(seen, url, role):
            pass
    with signed_in(seen, url, "crew") as client:
        tag = client.get("/api/v1/drums", params={"limit": 1}).json()["items"][0]["tag"]
        sent = {"drums": [tag], "size": "4x6in"}
        assert client.post("/api/v1/labels", json=sent).status_code == 200

    with signed_in(seen, url, "viewer") as client:

        def alarms() -> bool:
            seen.alarms = client.get("/api/v1/alarms", params={"state": "open"}).json()["items"]
            told = {"cold_load", "gassing", "sensor_silent", "sensor_stuck", "sensor_implausible"}
            return told <= {a["kind"] for a in seen.alarms}

        def films() -> bool:
            for place in ("harrow/annex", "harrow/warm-room"):
                seen.films[place] = client.get(f"/api/v1/places/{place}/film").json()["now"]
            return bool(seen.films["harrow/annex"]["source"] == "learned")

        def strap() -> bool:
            mounts = [mount for sensor in seen.sensors for mount in sensor["mounts"]]
            strapped = {mount["drum"] for mount in mounts} - {None}
            seen.drums = all_drums(client)
            told = [d["estimate"]["basis"] for d in seen.drums if d["tag"] in strapped]
            return told == ["measured"]

        assert alarms()  # it said that it is up
        wait_for("a film to be learned", films, within_s=120)
        seen.sensors = client.get("/api/v1/sensors", params={"limit": 200}).json()["items"]
        seen.forecast = client.get("/api/v1/sites/harrow/air-forecast").json()
        # Its gateway's readings may come last.
        wait_for("the sensor in a drum to tell of it", strap, within_s=90)
        seen.looked_at = datetime.now(UTC)  # noqa: TID251 - a real service
        for drum in seen.drums:
            tag = drum["tag"]
            seen.histories[tag] = client.get(f"/api/v1/drums/{tag}/history").json()
        for drum in seen.of("harrow/dock"):
            tag = drum["tag"]
            seen.verdicts[tag] = client.get(f"/d/{tag}").text


def all_drums(client: httpx.Client) -> list[Json]:
    found: list[Json] = client.get("/api/v1/drums", params={"limit": 200}).json()["items"]
    return found
