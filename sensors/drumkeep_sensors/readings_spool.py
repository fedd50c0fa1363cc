"""Readings on disk until the service says that they are stored.

One SQLite file. A sampling is one transaction, flushed to the medium before the next step
(write-ahead log, ``synchronous=FULL``): a power cut takes at most the sampling under way. Readings
are put into numbered packs as late as possible, so that what waits through a long outage can be
thinned: each pack keeps its number and its readings until it is confirmed. A reading takes about
55 octets. A sampling costs a card three flushes: to keep it, to number its pack, to forget it.
"""

import fcntl
import logging
import math
import secrets
import sqlite3
from collections.abc import Callable, Iterator, Sequence
from contextlib import ExitStack, contextmanager, suppress
from dataclasses import dataclass
from operator import itemgetter
from pathlib import Path
from typing import Final, TypeVar

from drumkeep_sensors.medium import SPOOL_FILE, Ballast, little_room, make_to_stay
from drumkeep_sensors.spool_file import connect
from drumkeep_wire.records import Record, Spool
from drumkeep_wire.senml import encode_pack

_Written = TypeVar("_Written")

_log = logging.getLogger(__name__)

PACK_RECORDS: Final = 200
PACKS_AHEAD: Final = 100
"""Packs made before the first of them is confirmed."""
PACKED_SHARE: Final = 1 / 8
"""Of the readings that may be kept: packs cannot be thinned, and are not begun beyond it."""
WORTH_THINNING: Final = 16
"""A stretch is thinned when it holds one in so many of the readings that may be kept."""


class SpoolError(Exception):
    """The folder cannot be used."""


class SpoolFull(Exception):
    """The medium takes nothing more."""


@dataclass(frozen=True, slots=True)
class Sample:
    """A value as a driver gave it.

    Attributes
    ----------
    since_start_s
        When, in seconds since the start of the board.
    """

    name: str
    unit: str
    value: float
    since_start_s: float


class ReadingsSpool:
    """The readings that are not confirmed.

    Parameters
    ----------
    folder
        Made if it is not there. One process at a time may use it.
    urn
        The gateway's name, for the number of each pack.
    most
        How many readings are kept; beyond it the oldest are thinned.

    Raises
    ------
    SpoolError
        It cannot be made or written, or another process uses it.
    """

    def __init__(self, folder: Path, *, urn: str, most: int) -> None:
        self._folder, self._urn, self._most = folder, urn, most
        self._ballast = Ballast(folder)
        with ExitStack() as undoing:
            try:
                make_to_stay(folder)
                self._lock = undoing.enter_context((folder / "lock").open("w"))
                fcntl.flock(self._lock, fcntl.LOCK_EX | fcntl.LOCK_NB)
                self._db = self._open()
                self._ballast.hold()
            except BlockingIOError:
                raise SpoolError(
                    f"state {str(folder)!r} is used by another process. End that one first, or "
                    "name another folder."
                ) from None
            except (OSError, sqlite3.Error) as error:
                raise SpoolError(
                    f"state {str(folder)!r} cannot be used: {error}{little_room(folder)}. Name a "
                    "folder that can be written, on a medium with a megabyte of room or more."
                ) from None
            undoing.pop_all()  # it worked: the lock stays until close
        self._file, self._next = self._read_state()
        self._count = self._number("SELECT count(*) FROM reading")
        self._packs = {number: self._encode(number) for number in self._numbers()}
        self._packed = self._number("SELECT count(*) FROM reading WHERE pack IS NOT NULL")

    @property
    def file(self) -> str:
        """Eight hexadecimal digits that name this spool file."""
        return self._file

    @property
    def packs(self) -> dict[int, bytes]:
        """Packs that are not confirmed, by number, the oldest first."""
        return self._packs

    @property
    def count(self) -> int:
        """Readings that are not confirmed."""
        return self._count

    def undated(self) -> int:
        """Count the readings whose time is not known."""
        return self._number("SELECT count(*) FROM reading WHERE time_ms IS NULL")

    def add(self, samples: Sequence[Sample], *, start: str, offset_s: float | None) -> None:
        """Keep readings; they are on the medium when this returns.

        Parameters
        ----------
        samples
            Of one start of the board.
        start
            That start's name.
        offset_s
            From seconds since the start to epoch seconds; None while that is not known.

        Raises
        ------
        SpoolFull
            Nothing was kept.
        """
        if self._ballast.dropped and not self._ballast.hold_if_easy():
            raise SpoolFull("what room there is is kept to send what waits")
        with self._transaction():
            for sample in samples:
                since_ms = round(sample.since_start_s * 1000)
                time_ms = None if offset_s is None else since_ms + round(offset_s * 1000)
                self._db.execute(
                    "INSERT INTO reading (sensor, value, start, since_start_ms, time_ms) "
                    "VALUES (?, ?, ?, ?, ?)",
                    (self._sensor(sample), sample.value, start, since_ms, time_ms),
                )
        self._count += len(samples)
        if self._count > self._most:
            self._thin()

    def date(self, *, start: str, offset_s: float) -> int:
        """Give the readings of a start their time, and return how many these were."""
        if not self.undated():
            return 0
        with self._transaction():
            return self._db.execute(
                "UPDATE reading SET time_ms = since_start_ms + ? "
                "WHERE time_ms IS NULL AND start = ?",
                (round(offset_s * 1000), start),
            ).rowcount

    def pack(self, *, at_once: bool) -> None:
        """Put readings into packs, the oldest first, as far as there may be packs.

        Parameters
        ----------
        at_once
            Whether a pack may be short; else readings wait until there are enough of them.
        """
        unpacked = math.ceil(PACKED_SHARE * self._most) - self._packed
        room = min(PACKS_AHEAD - len(self._packs), math.ceil(unpacked / PACK_RECORDS))
        if room <= 0:
            return
        found = self._db.execute(
            "SELECT seq FROM reading WHERE pack IS NULL AND time_ms IS NOT NULL "
            "ORDER BY seq LIMIT ?",
            (room * PACK_RECORDS,),
        )
        ready = [seq for (seq,) in found]
        if not at_once:
            del ready[len(ready) - len(ready) % PACK_RECORDS :]
        if not ready:
            return
        numbered = [(self._next + i // PACK_RECORDS, seq) for i, seq in enumerate(ready)]
        first, following = self._next, numbered[-1][0] + 1
        if self._packs:
            self._number_packs(numbered, following)
        else:
            self._on_the_way_out(lambda: self._number_packs(numbered, following))
        self._next = following
        self._packed += len(ready)
        for number in range(first, following):
            self._packs[number] = self._encode(number)

    def confirm(self, upto: int, *, live: bool = True) -> list[int]:
        """Forget the packs up to a number, and return which these were.

        A confirmation of numbers that were never given shows that the medium lost what it had
        said to hold; one that takes back what was confirmed, that the service's database did, as
        when it is restored from a backup. Then a new spool file is begun: no pack is taken for one
        stored already, and none waits behind one that nobody has any more.

        Parameters
        ----------
        live
            Whether the service says so now; a broker may keep what it said before.
        """
        oldest = next(iter(self._packs), self._next)
        if upto >= self._next:
            _log.error("Packs up to %d are confirmed, and only %d were made", upto, self._next - 1)
            self._begin_file()
            return []
        if live and upto < oldest - 1:
            _log.error(
                "The service had confirmed packs up to %d and has them up to %d now: it was set "
                "back. What was in between is not here any more; all else is sent anew",
                oldest - 1,
                upto,
            )
            self._begin_file()
            return []
        confirmed = [number for number in self._packs if number <= upto]
        if confirmed:
            gone = self._on_the_way_out(lambda: self._forget(upto))
            self._count -= gone
            self._packed -= gone
            for number in confirmed:
                del self._packs[number]
            self._hold_room()
        return confirmed

    def close(self) -> None:
        """Let another process use the folder."""
        self._db.close()
        self._lock.close()

    def _open(self) -> sqlite3.Connection:
        file = self._folder / SPOOL_FILE
        try:
            return connect(file)
        except sqlite3.DatabaseError as error:
            if isinstance(error, sqlite3.OperationalError):  # the file is as good as it was
                if not self._ballast.drop():
                    raise  # no right, or no room to be had
                return connect(file)
            _log.exception("%s is broken: it is kept as .broken, and a new one begun", file)
            for left in self._folder.glob(f"{SPOOL_FILE}*"):
                if not left.name.endswith(".broken"):
                    left.replace(left.with_name(f"{left.name}.broken"))
            return connect(file)

    def _read_state(self) -> tuple[str, int]:
        file, following = self._db.execute("SELECT file, next FROM state").fetchone()
        return str(file), int(following)

    def _number(self, asked: str) -> int:
        (number,) = self._db.execute(asked).fetchone()
        return int(number)

    def _numbers(self) -> list[int]:
        found = self._db.execute(
            "SELECT DISTINCT pack FROM reading WHERE pack IS NOT NULL ORDER BY pack"
        )
        return [number for (number,) in found]

    def _encode(self, number: int) -> bytes:
        found = self._db.execute(
            "SELECT name, unit, value, time_ms FROM reading JOIN sensor ON sensor.id = sensor "
            "WHERE pack = ? ORDER BY seq",
            (number,),
        )
        records = [Record(name, unit, value, ms / 1000) for name, unit, value, ms in found]
        return encode_pack(records, spool=Spool(self._urn, self._file, number))

    def _sensor(self, sample: Sample) -> int:
        key = (sample.name, sample.unit)
        self._db.execute("INSERT OR IGNORE INTO sensor (name, unit) VALUES (?, ?)", key)
        found = self._db.execute("SELECT id FROM sensor WHERE name = ? AND unit = ?", key)
        (sensor_id,) = found.fetchone()
        return int(sensor_id)

    def _thin(self) -> None:
        """Take out every second reading of each sensor, where readings are densest.

        The newest quarter stays whole. Of the rest those are taken that were thinned least often,
        so that an outage ends up evenly spaced and no night in it is lost; a stretch too short to
        free much waits for the next time.
        """
        with self._transaction():
            (newest,) = self._db.execute(
                "SELECT seq FROM reading ORDER BY seq DESC LIMIT 1 OFFSET ?", (self._count // 4,)
            ).fetchone()
            levels = self._db.execute(
                "SELECT thinned, count(*) FROM reading WHERE pack IS NULL AND seq <= ? "
                "GROUP BY thinned ORDER BY thinned",
                (newest,),
            ).fetchall()
            worth = self._most / WORTH_THINNING
            densest, _ = max(levels, key=itemgetter(1))
            level = next((level for level, count in levels if count >= worth), densest)
            thinned = self._db.execute(
                "DELETE FROM reading WHERE seq IN (SELECT seq FROM ("
                "SELECT seq, row_number() OVER (PARTITION BY sensor ORDER BY seq) AS n "
                "FROM reading WHERE pack IS NULL AND seq <= ? AND thinned = ?) WHERE n % 2 = 0)",
                (newest, level),
            ).rowcount
            self._db.execute(
                "UPDATE reading SET thinned = thinned + 1 "
                "WHERE pack IS NULL AND seq <= ? AND thinned = ?",
                (newest, level),
            )
        self._count -= thinned
        _log.warning("The spool is full: %d of the older readings were thinned out", thinned)

    def _begin_file(self) -> None:
        with self._transaction():
            self._db.execute("UPDATE reading SET pack = NULL")
            self._db.execute("UPDATE state SET file = ?, next = 1", (secrets.token_hex(4),))
        self._file, self._next = self._read_state()
        self._packs.clear()
        self._packed = 0

    def _number_packs(self, numbered: Sequence[tuple[int, int]], following: int) -> None:
        with self._transaction():  # of all of them, so that the medium flushes once
            self._db.executemany("UPDATE reading SET pack = ? WHERE seq = ?", numbered)
            self._db.execute("UPDATE state SET next = ?", (following,))

    def _forget(self, upto: int) -> int:
        with self._transaction():
            return self._db.execute("DELETE FROM reading WHERE pack <= ?", (upto,)).rowcount

    def _on_the_way_out(self, write: Callable[[], _Written]) -> _Written:
        """Write what leads to room, if need be into the room that is held back for it.

        New readings do not get at it.
        """
        try:
            return write()
        except SpoolFull:
            if not self._ballast.drop():
                raise
            _log.warning("The medium is full: the room that is held back on it is used to send")
            self._db.execute("PRAGMA wal_checkpoint(TRUNCATE)")
            return write()

    def _hold_room(self) -> None:
        """Hold room back again once nothing waits, and what is left of the file is small."""
        if not self._ballast.dropped or self._count > PACK_RECORDS:
            return
        with suppress(sqlite3.OperationalError):  # still no room: another time
            self._db.execute("VACUUM")
            self._db.execute("PRAGMA wal_checkpoint(TRUNCATE)")
        self._ballast.hold()

    @contextmanager
    def _transaction(self) -> Iterator[None]:
        try:
            self._db.execute("BEGIN IMMEDIATE")
            yield
            self._db.execute("COMMIT")
        except sqlite3.OperationalError as error:
            if self._db.in_transaction:
                self._db.execute("ROLLBACK")
            raise SpoolFull(str(error)) from None
