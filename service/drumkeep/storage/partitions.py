"""Readings by month on PostgreSQL: a partition each, so that old ones go without a trace.

On SQLite there are none, and nothing here does anything.
"""

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import UTC, datetime
from typing import Final

from drumkeep.storage.transaction import Tx

MONTHS_AHEAD: Final = 3
"""Partitions that stand ready beyond the present month."""

_HOUR_S: Final = 3600
_MONTHS: Final = 12
_PREFIX: Final = "reading_y"


@dataclass(frozen=True, slots=True, order=True)
class Month:
    """A month of UTC."""

    year: int
    month: int

    @classmethod
    def of_hour(cls, hour: int) -> "Month":
        """Return the month in which an hour since 1970 lies."""
        at = datetime.fromtimestamp(hour * _HOUR_S, UTC)
        return cls(at.year, at.month)

    def later(self, months: int) -> "Month":
        """Return the month so many months after."""
        years, month = divmod(self.month - 1 + months, _MONTHS)
        return Month(self.year + years, month + 1)

    @property
    def first_hour(self) -> int:
        """The first hour since 1970 that lies in it."""
        return int(datetime(self.year, self.month, 1, tzinfo=UTC).timestamp()) // _HOUR_S

    @property
    def table(self) -> str:
        """The name of its partition."""
        return f"{_PREFIX}{self.year:04d}m{self.month:02d}"


def is_no_partition(name: str | None, kind: str, _parents: object) -> bool:
    """Return whether migrations have to do with something of this name."""
    return kind != "table" or name is None or not name.startswith(_PREFIX)


def ensure(tx: Tx, *, months: Iterable[Month]) -> list[Month]:
    """Make the partitions of these months that are missing; return those made."""
    connection = tx.session.connection()
    wanted = {month.table: month for month in months}
    if connection.dialect.name != "postgresql" or not wanted:
        return []
    missing = connection.exec_driver_sql(
        "SELECT name FROM unnest(%s::text[]) AS name WHERE to_regclass(name) IS NULL ORDER BY name",
        (list(wanted),),
    )
    made = [wanted[name] for name in missing.scalars()]
    for month in made:
        # Attached once it stands: made in place it would wait for every query of readings to end,
        # and every new one for it.
        connection.exec_driver_sql(
            f"CREATE TABLE {month.table} (LIKE reading INCLUDING DEFAULTS INCLUDING CONSTRAINTS)"
        )
        connection.exec_driver_sql(
            f"ALTER TABLE reading ATTACH PARTITION {month.table} "
            f"FOR VALUES FROM ({month.first_hour}) TO ({month.later(1).first_hour})"
        )
    return made


def ensure_ahead(tx: Tx, *, now: datetime) -> list[Month]:
    """Make the partitions of this month and the next few; return those made."""
    present = Month(now.year, now.month)
    return ensure(tx, months=[present.later(months) for months in range(MONTHS_AHEAD + 1)])
