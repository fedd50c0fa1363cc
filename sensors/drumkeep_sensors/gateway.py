"""A gateway with sensors: samples, keeps, publishes."""

import logging
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path
from threading import Event
from typing import Final

from drumkeep_sensors.clock import BoardClock, since_start_s, start_name, synchronised
from drumkeep_sensors.configuration import ConfigurationError, read_configuration
from drumkeep_sensors.drivers.driver import Unreadable
from drumkeep_sensors.drivers.linux_files import hardware_urn
from drumkeep_sensors.drivers.opening import OpenSensor, open_sensors
from drumkeep_sensors.medium import short_of_room
from drumkeep_sensors.publisher import Identity, Publisher
from drumkeep_sensors.readings_spool import ReadingsSpool, Sample, SpoolFull
from drumkeep_sensors.sampler import Sampler, Sampling, thinned
from drumkeep_sensors.supervision import Supervision
from drumkeep_sensors.tables import PLAIN_PORT, TLS_PORT, BrokerTable, Configuration
from drumkeep_sensors.tls import Tls, tls_context
from drumkeep_wire.records import Record, Spool
from drumkeep_wire.senml import encode_pack
from drumkeep_wire.topics import Topics

_log = logging.getLogger(__name__)

STEP_S: Final = 0.2


@dataclass(frozen=True)
class Setup:
    """What a configuration comes to on this board."""

    told: Configuration
    identity: Identity
    urn: str
    state: Path
    sensors: list[OpenSensor]
    clock: BoardClock
    start: str


def set_up(
    file: Path,
    *,
    clock: Callable[[], float],
    since_start: Callable[[], float] = since_start_s,
) -> Setup:
    """Read a configuration and make ready what it names; nothing is read or sent yet.

    Parameters
    ----------
    file
        The configuration.
    clock
        Gives epoch seconds, right or wrong.
    since_start
        Gives seconds since the start of the board.

    Raises
    ------
    ConfigurationError, ScenarioError
        It cannot be used, or a CSV file that it names.
    """
    told = read_configuration(file)
    urn = told.gateway.urn or _urn_of(file, told)
    always = told.clock.trust == "always"
    return Setup(
        told=told,
        identity=_identity(file, told),
        urn=urn,
        state=file.parent / told.gateway.state,
        sensors=open_sensors(told, urn=urn, folder=file.parent, clock=clock),
        clock=BoardClock(
            wall=clock,
            since_start=since_start,
            trusted=(lambda: True) if always else synchronised,
        ),
        start=_start_of(file, told),
    )


def run(
    file: Path,
    *,
    stopping: Event,
    clock: Callable[[], float],
    since_start: Callable[[], float] = since_start_s,
    step_s: float = STEP_S,
) -> None:
    """Sample, keep and publish until told to stop.

    Parameters
    ----------
    file
        The configuration.
    stopping
        Set by whoever wants it to end.
    clock, since_start
        As in :func:`set_up`. Days can be tried in seconds where both run fast.
    step_s
        How long nothing is looked at, at most.

    Raises
    ------
    ConfigurationError, ScenarioError
        The configuration cannot be used.
    SpoolError
        Its state folder cannot be used.
    """
    setup = set_up(file, clock=clock, since_start=since_start)
    most = setup.told.spool.readings
    spool = ReadingsSpool(setup.state, urn=setup.urn, most=most)
    if short := short_of_room(setup.state, most):
        _log.warning(short)
    publisher = Publisher(identity=setup.identity, spool=spool, clock=clock)
    keeper = Keeper(spool, clock=setup.clock, start=setup.start)
    sampler = Sampler(setup.sensors, clock=setup.clock.since_start_s)
    sampling = Sampling(sampler, step_s=step_s)
    supervision = Supervision()
    publisher.start()
    supervision.ready()
    try:
        while not stopping.is_set():
            supervision.alive()
            keeper.keep(sampling.take())
            with keeper.room():
                spool.pack(at_once=publisher.connected)
            with keeper.room():
                publisher.step(wait_s=step_s)
    finally:
        sampling.close()
        if stopping.is_set():
            keeper.keep(sampling.take())
        publisher.stop()
        spool.close()


def check(file: Path, *, clock: Callable[[], float]) -> tuple[list[str], bool]:
    """Read every sensor once and say what would be sent; nothing is kept or sent.

    Returns
    -------
    tuple[list[str], bool]
        Lines for a person, and whether every sensor gave a reading.

    Raises
    ------
    ConfigurationError, ScenarioError
        The configuration cannot be used.
    """
    setup = set_up(file, clock=clock)
    sampler = Sampler(setup.sensors, clock=setup.clock.since_start_s)
    samples = sampler.read_all()
    sampler.close()
    identity, offset = setup.identity, setup.clock.offset_s()
    topic = identity.topics.readings(site=identity.site, gateway=identity.gateway)
    line = "TLS" if identity.tls else "plain"
    lines = [f"{setup.urn} would publish to {identity.host}:{identity.port} ({line}), {topic}:"]
    if samples and offset is not None:
        records = [
            Record(sample.name, sample.unit, sample.value, round(sample.since_start_s + offset, 3))
            for sample in samples
        ]
        lines.append(encode_pack(records, spool=Spool(setup.urn, "0" * 8, 1)).decode())
    lines += [f"  {sample.name} = {sample.value:g} {sample.unit}" for sample in samples]
    lines += [f"  {name}: no reading: {reason}" for name, reason in sampler.kept_out]
    if offset is None:
        lines.append(
            "The clock is not synchronised: readings would wait in the spool until it is. Start a "
            'time service (systemd-timesyncd, chrony), or set clock.trust = "always".'
        )
    if short := short_of_room(setup.state, setup.told.spool.readings):
        lines.append(short)
    return lines, not sampler.kept_out


class Keeper:
    """Brings samples into the spool, and holds them in memory while the medium is full.

    Parameters
    ----------
    spool
        Where to.
    clock
        Says what their time is, once that is known.
    start
        Name of this start of the board.
    """

    def __init__(self, spool: ReadingsSpool, *, clock: BoardClock, start: str) -> None:
        self._spool = spool
        self._clock = clock
        self._start = start
        self._held: list[Sample] = []
        self._full = False
        self._known: bool | None = None

    def keep(self, samples: list[Sample]) -> None:
        """Keep samples, and those before them that could not be."""
        self._held = thinned(self._held + samples)
        offset = self._clock.offset_s()
        with self.room():
            if offset is None and self._known is None:
                self._known = False
                _log.warning("The clock is not known yet: readings wait for it, with their order")
            if offset is not None and not self._known:
                self._date(offset)
            if self._held:
                self._spool.add(self._held, start=self._start, offset_s=offset)
                self._held = []
                self._told(full=False)

    @contextmanager
    def room(self) -> Iterator[None]:
        """Go on when the medium is full; what could not be written now is so later."""
        try:
            yield
        except SpoolFull as error:
            self._told(full=True, why=str(error))

    def _date(self, offset: float) -> None:
        dated = self._spool.date(start=self._start, offset_s=offset)
        self._known = True
        if dated:
            _log.warning("The clock is known: %d readings got their time", dated)
        if left := self._spool.undated():
            _log.warning("%d readings of earlier starts have no known time, and stay here", left)

    def _told(self, *, full: bool, why: str = "") -> None:
        if full != self._full:
            self._full = full
            if full:
                _log.error("The spool cannot be written (%s): readings wait in memory", why)
            else:
                _log.warning("The spool can be written again")


def _start_of(file: Path, told: Configuration) -> str:
    try:
        return start_name(file.parent / told.linux.procfs)
    except OSError as error:
        raise ConfigurationError(
            file,
            None,
            f"linux.procfs {told.linux.procfs!r}",
            f"does not show which start of the board this is: {error}",
            "Name where the kernel shows its processes, /proc; a container must have it.",
        ) from None


def _urn_of(file: Path, told: Configuration) -> str:
    interface = told.gateway.interface or ""
    try:
        return hardware_urn(sysfs=file.parent / told.linux.sysfs, interface=interface)
    except Unreadable as error:
        raise ConfigurationError(
            file,
            None,
            f"gateway.interface {interface!r}",
            f"gives no name: {error}",
            "Name an interface of ip link, or give urn instead.",
        ) from None


def _identity(file: Path, told: Configuration) -> Identity:
    broker, folder = told.broker, file.parent
    tls = None
    if broker.tls is not None:
        names = (broker.tls.ca, broker.tls.certificate, broker.tls.key)
        tls = Tls(*(None if name is None else folder / name for name in names))
        try:
            tls_context(tls)
        except OSError as error:
            mend = "Give PEM files, and the key that belongs to the certificate."
            problem = f"cannot be used: {error.strerror or error}"
            raise ConfigurationError(file, None, "broker.tls", problem, mend) from None
    return Identity(
        host=broker.host,
        port=broker.port or (PLAIN_PORT if tls is None else TLS_PORT),
        topics=Topics(broker.root),
        site=told.gateway.site,
        gateway=told.gateway.code,
        username=broker.username,
        password=lambda: _password(broker, folder),
        tls=tls,
        keepalive_s=broker.keepalive_s,
    )


def _password(broker: BrokerTable, folder: Path) -> str | None:
    if broker.password_file is None:
        return broker.password
    try:
        return (folder / broker.password_file).read_text(encoding="utf-8").partition("\n")[0]
    except (OSError, UnicodeDecodeError) as error:
        _log.error("broker.password_file cannot be read: %s", error)
        return None
