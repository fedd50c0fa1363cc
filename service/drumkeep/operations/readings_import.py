"""Bring in a logger's download: on the same path as what gateways send, in portions.

Each portion is one transaction, all of it or nothing. What is there already is a duplicate, so an
import that was cut off is simply done again.
"""

import re
from collections import defaultdict
from collections.abc import Callable, Collection, Iterable, Iterator, Mapping
from dataclasses import dataclass, field
from datetime import datetime, tzinfo
from typing import Final
from zoneinfo import ZoneInfo

from drumkeep.domain.grid import from_ms
from drumkeep.domain.logger_columns import LoggerOptions, names_in
from drumkeep.domain.logger_files import LoggerReadings, read_logger_file
from drumkeep.domain.logger_tables import TITLE, read_table
from drumkeep.domain.logger_times import zone_named
from drumkeep.domain.readings import PREFIX_LENGTH, ArrivedPack, Reading, Rejection
from drumkeep.domain.sensors import Quantity
from drumkeep.errors import Fault, Invalid
from drumkeep.operations.gateways import gateway_named
from drumkeep.operations.readings import PackOutcome, record_batch
from drumkeep.operations.sites import site_named
from drumkeep.storage import arrivals, catalogue, retention
from drumkeep.storage.readings import hour_of
from drumkeep.storage.savepoint import undone
from drumkeep.storage.tables.catalogue import Gateway
from drumkeep.storage.transaction import Tx

AT_ONCE: Final = 5000
"""Readings of one transaction: a fraction of a second, so that gateways hardly wait."""

EXAMPLES: Final = 3
"""Refused cells that are shown of each reason."""

_NAME_LENGTH: Final = 120
_FIGURES: Final = re.compile(r" \([^()]*\)$")
"""What differs from cell to cell of one reason."""


@dataclass(frozen=True, slots=True, kw_only=True)
class ImportAsked:
    """What is said of a file.

    Attributes
    ----------
    name
        Of the file.
    gateway
        ``site/code``: whose clock it is, and whose sensors go by their short names.
    site
        Whose clock it is, by code; found by gateway or sensors where left out.
    zone, day_first, time, sensors, units
        As in :class:`drumkeep.domain.logger_columns.LoggerOptions`; ``zone`` as text.
    """

    name: str
    gateway: str | None = None
    site: str | None = None
    zone: str | None = None
    day_first: bool | None = None
    time: str | None = None
    sensors: Mapping[str, str] = field(default_factory=dict)
    units: Mapping[str, str] = field(default_factory=dict)


@dataclass(frozen=True, slots=True)
class ReadImport:
    """A file that was read: its portions are stored one by one.

    Attributes
    ----------
    file
        What stands in it.
    packs
        Its portions, made as they are gone through.
    """

    file: LoggerReadings
    packs: Iterable[ArrivedPack]


@dataclass(frozen=True, slots=True, kw_only=True)
class SensorShare:
    """What a file holds of one sensor, in the unit of its quantity."""

    name: str
    column: str
    quantity: Quantity
    readings: int
    first_at: datetime
    last_at: datetime
    low: float
    high: float


@dataclass(frozen=True, slots=True)
class RefusedExample:
    """One refused cell; ``line`` from 1."""

    line: int
    column: str
    value: object


@dataclass(frozen=True, slots=True)
class RefusedKind:
    """All that was refused for one reason, with the first few."""

    problem: str
    mend: str
    count: int
    examples: tuple[RefusedExample, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class ImportReport:
    """What became of a file, or would.

    Attributes
    ----------
    stored, duplicates, doubled
        New readings, those that were there already, and those that came twice in the file.
    empty
        Cells without a value.
    refused
        The rest by reason, the most frequent first.
    """

    stored: int
    duplicates: int
    doubled: int
    empty: int
    refused: tuple[RefusedKind, ...]
    sensors: tuple[SensorShare, ...]
    unused: tuple[str, ...]
    notes: tuple[str, ...]

    @property
    def refused_count(self) -> int:
        """How many values were refused."""
        return sum(kind.count for kind in self.refused)


def read_import(tx: Tx, *, content: bytes, asked: ImportAsked, now: datetime) -> ReadImport:
    """Read a file; nothing is stored.

    Raises
    ------
    Invalid
        The file cannot be read, an option does not fit it, or a sensor is not registered.
    """
    table = read_table(content)
    gateway = None if asked.gateway is None else gateway_named(tx, reference=asked.gateway)
    zone = None if asked.zone is None else zone_named(asked.zone)
    names = names_in(table) | set(asked.sensors.values())
    long_of = {} if gateway is None else {name: f"{gateway.urn}:{name}" for name in names}
    known = arrivals.sensors_by_name(tx, names=names | set(long_of.values()))
    # A gateway's own sensors go by what stands behind its name.
    full = {short: long for short, long in long_of.items() if long in known and short not in known}
    sensors = {column: full.get(name, name) for column, name in asked.sensors.items()}
    _refuse_unknown(sensors.values(), known)
    sensors = {short: full[short] for short in names_in(table) & full.keys()} | sensors
    ids = [one.id for one in known.values()]
    options = LoggerOptions(
        site_zone=_site_zone(tx, code=asked.site, gateway=gateway, sensor_ids=ids),
        zone=zone,
        day_first=asked.day_first,
        time=asked.time,
        sensors=sensors,
        units=asked.units,
    )
    quantities = {name: Quantity(one.quantity) for name, one in known.items()}
    file = read_logger_file(table, options=options, quantities=quantities, now=now)
    begins = content[:PREFIX_LENGTH]
    return ReadImport(file, _Portions(file, asked.name, begins, len(content)))


def store_portion(tx: Tx, *, pack: ArrivedPack, now: datetime) -> PackOutcome:
    """Store a portion of a file."""
    outcome = record_batch(tx, packs=[_without_thinned(tx, pack)], now=now).packs[0]
    # Readings leave no rows in the audit; that somebody brought in a file of them does.
    tx.note_deed("imported", kind="readings", thing=pack.source, stored=(None, outcome.stored))
    return outcome


def try_portion(tx: Tx, *, pack: ArrivedPack, now: datetime) -> PackOutcome:
    """Find out what would become of a portion by storing it and taking it back."""
    with undone(tx):
        return record_batch(tx, packs=[_without_thinned(tx, pack)], now=now).packs[0]


def _without_thinned(tx: Tx, pack: ArrivedPack) -> ArrivedPack:
    """Refuse readings of hours that were thinned: which of them were there nobody knows any more.

    Only a file can bring them: what is so old is not taken from gateways.
    """
    known = arrivals.sensors_by_name(tx, names={one.sensor_name for one in pack.readings})
    ids = {name: one.id for name, one in known.items()}
    hours = sorted({hour_of(one.ts_ms) for one in pack.readings})
    thinned = retention.thinned_hours(tx, sensor_ids=sorted(ids.values()), hours=hours)
    late: list[Reading] = []
    others: list[Reading] = []
    for one in pack.readings:
        was_thinned = (ids.get(one.sensor_name), hour_of(one.ts_ms)) in thinned
        (late if was_thinned else others).append(one)
    if not late:
        return pack
    refused = [
        Rejection(
            one.index,
            one.sensor_name,
            f"{from_ms(one.ts_ms):%Y-%m-%d}",
            "is of a day that was thinned to one reading in 15 minutes",
            "Nothing is to be done if the file came in before: its figures are kept.",
        )
        for one in late
    ]
    return pack._replace(readings=tuple(others), rejections=(*pack.rejections, *refused))


def portion_of(*, check: bool) -> Callable[..., PackOutcome]:
    """Return what is done with each portion."""
    return try_portion if check else store_portion


@dataclass
class Tally:
    """What became of the portions of a file so far."""

    stored: int = 0
    duplicates: int = 0
    _refused: dict[tuple[str, str], list[RefusedExample]] = field(default_factory=dict)
    _counts: dict[tuple[str, str], int] = field(default_factory=lambda: defaultdict(int))

    def add(self, outcome: PackOutcome) -> None:
        """Add a portion, in the order of the file."""
        self.stored += outcome.stored
        self.duplicates += outcome.duplicates
        for told in outcome.rejected:
            kind = _FIGURES.sub("", told.problem), told.mend
            self._counts[kind] += 1
            examples = self._refused.setdefault(kind, [])
            if len(examples) < EXAMPLES:
                examples.append(RefusedExample(told.index or 0, told.field, told.value))

    def report(self, file: LoggerReadings) -> ImportReport:
        """Sum up what became of a file."""
        refused = [
            RefusedKind(*kind, self._counts[kind], tuple(some))
            for kind, some in self._refused.items()
        ]
        return ImportReport(
            stored=self.stored,
            duplicates=self.duplicates,
            doubled=file.doubled,
            empty=file.empty,
            refused=tuple(sorted(refused, key=lambda kind: -kind.count)),
            sensors=tuple(
                SensorShare(
                    name=share.name,
                    column=file.columns[share.name],
                    quantity=share.quantity,
                    readings=share.readings,
                    first_at=from_ms(share.first_ms),
                    last_at=from_ms(share.last_ms),
                    low=share.low,
                    high=share.high,
                )
                for share in file.readings.shares()
            ),
            unused=file.unused,
            notes=file.notes,
        )


def _refuse_unknown(names: Iterable[str], known: Collection[str]) -> None:
    mend = "Register it, or write the name of one that is: they are listed with the sensors."
    faults = [
        Fault("sensor", name, "is not registered", mend)
        for name in dict.fromkeys(names)
        if name not in known
    ]
    if faults:
        raise Invalid(TITLE, faults)


def _site_zone(
    tx: Tx, *, code: str | None, gateway: Gateway | None, sensor_ids: Collection[int]
) -> tzinfo | None:
    """Return the zone of the site that is named, else of the one that all sensors are of."""
    if code is not None:
        return ZoneInfo(site_named(tx, code=code).timezone)
    if gateway is not None:
        sites = {gateway.site_id}
    else:
        places = {mount.place_id for mount in arrivals.mounts_of(tx, sensor_ids=sensor_ids)}
        rows = catalogue.places_by_id(tx, ids=sorted(p for p in places if p is not None))
        sites = {row.site_id for row in rows.values()}
    zones = {row.timezone for row in catalogue.sites_by_id(tx, ids=sorted(sites)).values()}
    if not zones:
        zones = {row.timezone for row in catalogue.list_sites(tx)}
    return ZoneInfo(zones.pop()) if len(zones) == 1 else None


@dataclass(frozen=True, slots=True)
class _Portions:
    """A file cut into portions by lines, what is refused with its neighbours."""

    file: LoggerReadings
    name: str
    begins: bytes
    size: int

    def __iter__(self) -> Iterator[ArrivedPack]:
        readings, rejections = self.file.readings, self.file.rejections
        told = 0
        for start in range(0, len(readings), AT_ONCE):
            some = readings[start : start + AT_ONCE]
            upto = rejections.upto(some[-1].index)
            here = rejections[told : min(upto, told + AT_ONCE)]
            told += len(here)
            yield self._pack(some, here)
            yield from self._told(told, upto)
            told = upto
        yield from self._told(told, len(rejections))

    def _told(self, begin: int, end: int) -> Iterator[ArrivedPack]:
        for start in range(begin, end, AT_ONCE):
            yield self._pack((), self.file.rejections[start : min(start + AT_ONCE, end)])

    def _pack(
        self, readings: tuple[Reading, ...], rejections: tuple[Rejection, ...]
    ) -> ArrivedPack:
        return ArrivedPack(
            source=f"import {self.name[:_NAME_LENGTH]}",
            gateway=None,
            readings=readings,
            rejections=rejections,
            spool=None,
            prefix=self.begins,
            size=self.size,
        )
