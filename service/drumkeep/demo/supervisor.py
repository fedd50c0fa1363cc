"""Runs the demo: broker, service and gateways as processes, and the story sent to them.

The demo is a client from the outside. Everything it shows went the way that real readings and real
people's records go.
"""

import os
import signal
import subprocess
import time
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from datetime import UTC, datetime
from pathlib import Path
from types import FrameType
from typing import Final

from drumkeep.demo import seeding
from drumkeep.demo.children import Child, Family, clean_environment, python
from drumkeep.demo.client import Client
from drumkeep.demo.curves import all_confirmed, outdoors_of_sites, write_scenarios
from drumkeep.demo.folder import Folder, State, replace_text
from drumkeep.demo.ports import EVERYWHERE, LOOPBACK, answers, free_port
from drumkeep.demo.report import address, reached_at, say, tell_story, tell_where
from drumkeep.demo.sign_ins import SignIn, sign_ins
from drumkeep.demo.timetable import Timetable
from drumkeep.demo.waiting import RECENT, all_computed
from drumkeep.errors import Unavailable

_STARTS_WITHIN_S: Final = 60.0
_ARRIVES_WITHIN_S: Final = 180.0
_LOOK_EVERY_S: Final = 0.2
_ALARMS_WITHIN_S: Final = 120.0
_ALARMS: Final = frozenset(
    {"cold_load", "gassing", "sensor_silent", "sensor_stuck", "sensor_implausible"}
)
"""Kinds of alarm that the story tells of."""
_PUBLIC_URL: Final = "DRUMKEEP_PUBLIC_URL"
_COMPILED: Final = "drumkeep.thermal.kernel"
_KEPT_WITHIN_S: Final = 3.0
"""What is compiled already is there sooner than this."""
_ASKING: Final = (signal.SIGINT, signal.SIGTERM, signal.SIGHUP)

_BROKER: Final = """\
id = 0

[router]
id = 0
max_connections = 100
max_outgoing_packet_count = 200
max_segment_size = 104857600
max_segment_count = 10

[v5.1]
name = "v5"
listen = "127.0.0.1:{port}"
next_connection_delay_ms = 1
    [v5.1.connections]
    connection_timeout_ms = 60000
    max_payload_size = 1048576
    max_inflight_count = 100
    dynamic_filters = true
"""


class _Asked(BaseException):
    """Somebody asked the demo to stop; not an error, so that nothing takes it for one."""


@dataclass
class Demo:
    """One run of the demo.

    Attributes
    ----------
    folder
        Where it keeps its data.
    port
        Where the pages are served.
    """

    folder: Folder
    port: int

    def __post_init__(self) -> None:
        self._family = Family()
        # Labels bear it, so none are printed without one.
        public = os.environ.get(_PUBLIC_URL) or reached_at(self.port)
        self._environment = clean_environment() | {_PUBLIC_URL: public}
        self._since = time.monotonic()
        self._address = address(self.port)

    def run(self) -> int:
        """Run until somebody asks to stop.

        Returns
        -------
        int
            0.

        Raises
        ------
        Unavailable
            Something is missing or was refused.
        ChildDied
            A process ended by itself.
        """
        for number in _ASKING:
            # nohup means that the end of the terminal is not the end of the demo.
            if number is not signal.SIGHUP or signal.getsignal(number) is not signal.SIG_IGN:
                signal.signal(number, _ask)
        try:
            self._show()
        except _Asked:
            say("\nStopping.")
        except Unavailable:
            time.sleep(_LOOK_EVERY_S)  # a process that ends closes its connections first
            self._family.check()
            raise
        finally:
            for number in _ASKING:  # heard already
                signal.signal(number, signal.SIG_IGN)
            for name in self._family.stop():
                say(f"The {name} did not end by itself and was killed.")
        say("Stopped.")
        return 0

    def _show(self) -> None:
        state = self.folder.state(now=_now())
        people = sign_ins(self.folder)
        state.broker_port = free_port(state.broker_port)
        self.folder.keep(state)
        timetable = Timetable.of(state.begun)
        say("Starting broker and service.")
        compiling = self._start_compiler()
        gateways = write_scenarios(self.folder, timetable=timetable, broker_port=state.broker_port)
        self._start_broker(state.broker_port)
        self._wait_until_compiled(compiling)
        self._start_service(state.broker_port)
        tell_where(self.port, people=people, folder=self.folder.path)
        self._since = time.monotonic()
        if state.seeded:
            self._go_on(state, people, gateways=gateways, timetable=timetable)
        else:
            self._begin(state, people, gateways=gateways, timetable=timetable)
            state.seeded = True
            self.folder.keep(state)
        tell_story(self.port)
        self._say("Every drum is computed up to now")
        while True:
            self._family.check()
            time.sleep(_LOOK_EVERY_S)

    def _begin(
        self,
        state: State,
        people: Mapping[str, SignIn],
        *,
        gateways: list[Path],
        timetable: Timetable,
    ) -> None:
        """Send the story; after a start that was interrupted, the rest of it."""
        say("First start: making accounts, places and drums, then five days of readings.")
        say("Until it says that drumkeep is up, the pages show only part of it, and no alarms.")
        self._send_company(people, timetable=timetable)
        self._start_gateways(gateways)
        with seeding.signed_in(self._address, people) as clients:
            self._wait_for_gateways(gateways, clients["viewer"])
            seeding.hang_sensors(clients["manager"], timetable=timetable)
            self._say("Five days of readings have arrived")
            outside = outdoors_of_sites(timetable)
            seeding.send_forecast(clients["dispatcher"], outside=outside, now=_now())
            tags = seeding.send_drums(clients, timetable=timetable, outside=outside)
            seeding.send_supplies(clients, timetable=timetable)
            seeding.fix_sensors(clients["manager"], tags=tags, timetable=timetable)
            self._say(f"{len(tags)} drums and what was done with them are recorded")
            # Only now, so that half a story raises no alarm.
            self._start_schedule(state.broker_port)
            self._wait_until_computed(clients["viewer"])
            self._wait_for_alarms(clients["viewer"])

    def _go_on(
        self,
        state: State,
        people: Mapping[str, SignIn],
        *,
        gateways: list[Path],
        timetable: Timetable,
    ) -> None:
        """Catch up with the time since the last run, before anybody is told what is missing."""
        self._start_gateways(gateways)
        with Client(self._address) as dispatcher:
            if dispatcher.sign_in(people["dispatcher"]):
                outside = outdoors_of_sites(timetable)
                seeding.send_forecast(dispatcher, outside=outside, now=_now())
                dispatcher.sign_out()
        with Client(self._address) as viewer:
            known = viewer.sign_in(people["viewer"])
            if known:
                self._wait_for_gateways(gateways, viewer)
            self._start_schedule(state.broker_port)
            if known:  # nobody has changed that passphrase, as they may
                self._wait_until_computed(viewer)
                viewer.sign_out()

    def _send_company(self, people: Mapping[str, SignIn], *, timetable: Timetable) -> None:
        """Send all but the drums; a start that was interrupted goes on where it was."""
        self._make_manager(people["manager"])
        with seeding.signed_in(self._address, {"manager": people["manager"]}) as clients:
            seeding.make_accounts(clients["manager"], people)
            seeding.send_catalogue(clients["manager"], timetable=timetable)

    def _make_manager(self, manager: SignIn) -> None:
        with Client(self._address) as client:
            if client.sign_in(manager):
                client.sign_out()
                return
        told = subprocess.run(  # noqa: S603 - our own program
            [
                *python("-m", "drumkeep", "account", "create", manager.name),
                *("--display-name", manager.display_name, "--password-stdin"),
                *("--data-dir", str(self.folder.part("service"))),
            ],
            input=f"{manager.passphrase}\n",
            env=self._environment,
            capture_output=True,
            text=True,
            check=False,
        )
        if told.returncode:
            raise Unavailable(f"The manager's account could not be made: {told.stderr.strip()}")

    def _wait_for_gateways(self, files: list[Path], viewer: Client) -> None:
        recent = _now() - RECENT
        self._wait(
            lambda: (
                all(gateway["online"] for gateway in viewer.get("/gateways")["items"])
                and all_confirmed(files, since=recent)
            ),
            within_s=_ARRIVES_WITHIN_S,
            late="The gateways' readings did not all arrive",
        )

    def _wait_until_computed(self, viewer: Client) -> None:
        """Wait for what can be computed; what cannot says so on its own page, and ends nothing."""
        if not self._comes_true(
            lambda: all_computed(viewer.get("/drums", limit=200)["items"], now=_now()),
            within_s=_ARRIVES_WITHIN_S,
        ):
            say("Some drums are not computed yet; their pages say why.")

    def _wait_for_alarms(self, viewer: Client) -> None:
        """Wait for what the story tells of; late alarms are told of, and end nothing."""
        if not self._comes_true(
            lambda: {a["kind"] for a in viewer.get("/alarms", state="open")["items"]} >= _ALARMS,
            within_s=_ALARMS_WITHIN_S,
        ):
            say("Not every alarm of the story is there yet; Alarms shows them as they come.")

    def _say(self, text: str) -> None:
        say(f"{text}, {time.monotonic() - self._since:.0f} s after the service was up.")

    def _start_compiler(self) -> Child:
        """Have the march compiled once, before several processes would do so side by side."""
        compiling = self._child("compiler", python("-c", f"import {_COMPILED}"))
        compiling.start()
        return compiling

    def _wait_until_compiled(self, compiling: Child) -> None:
        begun, told = time.monotonic(), False
        while compiling.running:
            if not told and time.monotonic() - begun > _KEPT_WITHIN_S:
                say("Compiling once, for up to half a minute; later starts find it done.")
                told = True
            time.sleep(_LOOK_EVERY_S)

    def _start_broker(self, port: int) -> None:
        file = self.folder.path / "broker.toml"
        replace_text(file, _BROKER.format(port=port))
        # Its own tracing says "error" for every message, so only what is critical is logged.
        command = python("-m", "iotcore", "--config", str(file), "--log-level", "CRITICAL")
        self._family.start([self._child("broker", command)])
        self._wait(
            lambda: answers(port), within_s=_STARTS_WITHIN_S, late="The broker did not come up"
        )

    def _start_service(self, broker_port: int) -> None:
        where = ("--host", EVERYWHERE, "--port", str(self.port))
        self._family.start([self._serving("service", "web,ingest", broker_port, *where)])
        with Client(self._address) as client:
            self._wait(
                client.healthy, within_s=_STARTS_WITHIN_S, late="The service did not come up"
            )

    def _start_schedule(self, broker_port: int) -> None:
        self._family.start([self._serving("schedule", "schedule", broker_port)])

    def _serving(self, name: str, roles: str, broker_port: int, *arguments: str) -> Child:
        command = [
            *python("-m", "drumkeep", "serve", "--only", roles, *arguments),
            *("--data-dir", str(self.folder.part("service"))),
            *("--mqtt-url", f"mqtt://{LOOPBACK}:{broker_port}"),
        ]
        return self._child(name, command)

    def _start_gateways(self, files: list[Path]) -> None:
        program = "from drumkeep_sensors.cli import main; raise SystemExit(main())"
        self._family.start(
            [
                self._child(
                    f"gateway {file.parent.name}", python("-c", program, "simulate", str(file))
                )
                for file in files
            ]
        )

    def _child(self, name: str, command: list[str]) -> Child:
        log = self.folder.part("logs") / f"{name.replace(' ', '-')}.log"
        return Child(name=name, command=command, log=log, environment=self._environment)

    def _wait(self, done: Callable[[], bool], *, within_s: float, late: str) -> None:
        if not self._comes_true(done, within_s=within_s):
            raise Unavailable(f"{late} within {within_s:.0f} s; see the logs in its folder.")

    def _comes_true(self, done: Callable[[], bool], *, within_s: float) -> bool:
        """Look again and again, as long as all children live; return whether it came in time."""
        deadline = time.monotonic() + within_s
        while not done():
            self._family.check()
            if time.monotonic() > deadline:
                return False
            time.sleep(_LOOK_EVERY_S)
        return True


def _ask(_number: int, _frame: FrameType | None) -> None:
    raise _Asked


def _now() -> datetime:
    return datetime.now(UTC)  # noqa: TID251 - the edge
