"""Rows of an archive: what of a store leaves with it, and how a row is written and read again."""

from collections.abc import Callable, Mapping
from datetime import date, datetime
from functools import cache
from typing import Annotated, Any, Final
from uuid import UUID

import msgspec
from sqlalchemy import (
    JSON,
    Boolean,
    Column,
    Date,
    Float,
    Integer,
    LargeBinary,
    Row,
    String,
    Table,
    Uuid,
)
from sqlmodel.sql.sqltypes import AutoString, UTCDateTime

from drumkeep.domain.notices import NoticeState
from drumkeep.storage.accounts import NO_PASSWORD
from drumkeep.storage.whole_tables import every_table

LEFT_OUT: Final = frozenset(
    {
        # what somebody or something signs in with
        "session",
        "phone_pass",
        "sign_in_attempt",
        "gateway_credential",
        # what is so while a service runs on this store
        "lease",
        "job_fault",
        "broker_session",
        "session_site",
        "subscription",
        # A gateway throws away what was confirmed to it. With the marks of now another store would
        # wait for packs that this one confirms from now on, and confirm nothing any more; without
        # them it begins where the gateway does (``storage/spool_marks.py``).
        "spool_mark",
        # Not ``place_mark``: which drums are still to be computed anew goes with the readings.
    }
)
"""Tables of which nothing leaves."""

_NOT_SENT: Final = "the store was taken elsewhere before it went out"

_UNSENT: Final = frozenset({NoticeState.WAITING, NoticeState.SENDING})


def _notice(row: Mapping[str, Any], at: datetime) -> dict[str, Any]:
    if row["state"] not in _UNSENT:
        return {}
    dropped = {"state": NoticeState.DROPPED.value, "reason": _NOT_SENT}
    return dropped | {"claimed_at": None, "ended_at": at}


_WITHOUT_SECRETS: Final[
    Mapping[str, Callable[[Mapping[str, Any], datetime], Mapping[str, Any]]]
] = {
    "account": lambda _row, _at: {"password_hash": NO_PASSWORD},
    # The hash is unique, so each has another that no secret comes to.
    "token": lambda row, at: {"hash": f"none:{row['id']}", "revoked_at": row["revoked_at"] or at},
    "notice_address": lambda row, at: {"url": "", "removed_at": row["removed_at"] or at},
    # It would be told twice, and has nowhere to go.
    "notice": _notice,
}
"""What stands in place of a row's secrets, and follows from their absence, as of a time."""


def leaving() -> list[Table]:
    """Return the tables that an archive holds, each after those to which it refers."""
    return [table for table in every_table() if table.name not in LEFT_OUT]


def without_secrets(table: Table, row: Row[Any], *, at: datetime) -> dict[str, Any]:
    """Return a row as it leaves."""
    kept = dict(zip(_names(table), row, strict=True))
    change = _WITHOUT_SECRETS.get(table.name)
    return kept if change is None else {**kept, **change(kept, at)}


@cache
def _names(table: Table) -> list[str]:
    # Some are of a kind of their own that is not written.
    return [str(column.name) for column in table.columns]


@cache
def reader(table: Table) -> msgspec.json.Decoder[msgspec.Struct]:
    """Return what reads a table's row: every column, no other, each of its type."""
    fields = list(zip(_names(table), map(_type_of, table.columns), strict=True))
    shape = msgspec.defstruct(str(table.name), fields, forbid_unknown_fields=True)
    return msgspec.json.Decoder(shape)


_TYPES: Final[Mapping[type[Any], Any]] = {
    UTCDateTime: Annotated[datetime, msgspec.Meta(tz=True)],
    Boolean: bool,
    Integer: int,
    Float: float,
    String: str,
    AutoString: str,
    Date: date,
    Uuid: UUID,
    LargeBinary: bytes,
    JSON: Any,
}
"""What a column's values are in Python; octets are base64 in JSON (RFC 4648)."""


def _type_of(column: Column[Any]) -> Any:  # noqa: ANN401 - of any type
    found = next(meant for kind, meant in _TYPES.items() if isinstance(column.type, kind))
    return found | None if column.nullable and found is not Any else found
