"""What happened to drums, a row each: recorded in the order in which it happened."""

from collections.abc import Callable, Mapping, Sequence
from datetime import UTC, datetime, timedelta
from functools import partial
from json import dumps
from typing import Any, Final
from uuid import UUID, uuid5

from drumkeep.domain import tags
from drumkeep.domain.events import EventKind, effective
from drumkeep.domain.spreadsheet_cells import (
    Unclear,
    bung_ring,
    event_kind,
    height_m,
    minutes,
    pressure_kpa,
    seen,
    yes,
)
from drumkeep.domain.spreadsheets import Column, SheetRow
from drumkeep.errors import DrumkeepError, Refused
from drumkeep.operations.drums import log_happening
from drumkeep.operations.places import refuse_beyond_capacity
from drumkeep.operations.sheet_reader import IDS, Deed, Reader, json_object
from drumkeep.operations.twins import told_by, twin_ids
from drumkeep.storage import catalogue
from drumkeep.storage import drums as drum_rows
from drumkeep.storage.tables.drums import Drum, Event

EVENT_COLUMNS: Final = (
    Column("tag", ("drum", "drum tag", "drum id"), needed=True),
    Column("at", ("when", "date", "date time", "day", "timestamp"), needed=True),
    Column("kind", ("event", "what", "what happened", "action", "deed"), needed=True),
    Column("clock", ("time", "time of day", "hour")),
    Column("to", ("moved to", "to place", "new place", "destination")),
    Column("temperature", ("temp", "liquid temperature", "liquid temp", "reading")),
    Column("height", ("height above bottom", "probe height")),
    Column("gross", ("gross weight", "gross mass", "gross kg")),
    Column("net mass", ("net", "net weight", "net kg")),
    Column("resolution", ("scale resolution", "reads to")),
    Column("amount", ("poured", "amount poured", "quantity")),
    Column("other drum", ("from drum", "to drum", "with drum")),
    Column("minutes", ("duration",)),
    Column("gas", ()),
    Column("pressure", ("gas pressure", "overpressure")),
    Column("reason", ("why",)),
    Column("solids", ("solids seen",)),
    Column("skin", ("skin seen",)),
    Column("bulge", ("bulge seen",)),
    Column("ring", ("bung ring",)),
    Column("reached bottom", ("probe reached bottom",)),
    Column("data", ()),
    Column("note", ("notes", "comment", "remarks")),
    Column("id", ()),
)

_ASKED: Final[Mapping[EventKind, Mapping[str, str]]] = {
    EventKind.MOVED: {"to": "to"},
    EventKind.WEIGHED: {
        "gross": "gross_kg",
        "net mass": "net_kg",
        "resolution": "resolution_kg",
    },
    EventKind.TOPPED: {"amount": "kg", "other drum": "from"},
    EventKind.DECANTED: {"amount": "kg", "other drum": "to"},
    EventKind.DIPPED: {"temperature": "c", "height": "height_m"},
    EventKind.SKIN: {"temperature": "c", "height": "height_m"},
    EventKind.BLANKETED: {"gas": "gas", "pressure": "kpa"},
    EventKind.AGITATED: {"minutes": "minutes"},
    EventKind.HELD: {"reason": "reason"},
    EventKind.RELEASED: {"reason": "reason"},
    EventKind.EMPTIED: {"reason": "reason"},
    EventKind.DISPOSED: {"reason": "reason"},
    EventKind.RATIO_OFF: {"other drum": "with"},
    EventKind.INSPECTED: {
        "solids": "solids",
        "skin": "skin",
        "bulge": "bulge",
        "ring": "ring",
        "reached bottom": "reached_bottom",
    },
}
"""Which columns each kind takes, and for which of its fields; the rest stands in ``data``."""

_OWN: Final = frozenset().union(*_ASKED.values())
"""Columns that some kind takes."""

_FOUND_OUT: Final = frozenset({"mixed_with", "was_held", "pour", "told_by"})
"""Fields of an exported event that are looked up again as it is recorded."""

_UNITS: Final[Mapping[str, Callable[..., float]]] = {
    "height": height_m,
    "pressure": pressure_kpa,
    "minutes": minutes,
}
_WORDS: Final[Mapping[str, Callable[[str], object]]] = {
    "solids": seen,
    "skin": seen,
    "bulge": seen,
    "ring": bung_ring,
    "reached bottom": yes,
}
_MASSES: Final = frozenset({"gross", "net mass", "resolution", "amount"})
_LAST: Final = datetime.max.replace(tzinfo=UTC)


class EventRows:
    """Records rows, the earliest first, whatever their order in the file.

    A drum that poured or stood in a set has a row of its own for that; the one that was recorded
    goes first and makes the other, which is there then.
    """

    def __init__(self, reader: Reader) -> None:
        self._reader = reader
        self._recorded_at: dict[int, datetime] = {}
        self._receipts: dict[str, str] = {}

    def ordered(self) -> Sequence[SheetRow]:
        """Return the rows in the order in which they are to be put."""
        rows = self._reader.rows
        others = {other for row in rows for other in twin_ids(self._id(row))}
        turns = {row.line: (self._roughly(row), self._id(row) in others) for row in rows}
        ordered = sorted(rows, key=lambda row: turns[row.line])
        # Which correction came last is told by when it was recorded: no two at once, none ahead.
        self._recorded_at = {
            row.line: self._reader.now - timedelta(microseconds=len(rows) - i)
            for i, row in enumerate(ordered)
        }
        return ordered

    def put(self, row: SheetRow) -> Deed:
        """Record what a row tells."""
        reader = self._reader
        drum = self._drum(row)
        reader.needed(row, "kind")
        kind = EventKind(str(reader.read(row, "kind", event_kind)))
        at = self._at(row, drum)
        given = reader.read(row, "id", _uuid)
        thing = f"{drum.tag} {kind.value}"
        if kind is EventKind.RECEIVED:
            self._check_receipt(row, drum, at=at, given=given)
            return Deed("there", thing)
        body = self._body(row, kind, at=at)
        event_id = given or uuid5(IDS, dumps([drum.tag, body], sort_keys=True))
        mend = "Leave one of the two out."
        reader.once(row, str(event_id), column="at" if given is None else "id", mend=mend)
        known = drum_rows.event_by_id(reader.tx, event_id=event_id)
        if known is not None and (given is None or _is_twin(known, drum, kind)):
            return Deed("there", thing)
        sent = body | {"id": str(event_id), "note": reader.text(row, "note")}
        self._log(row, drum, sent)
        return Deed("new" if known is None else "there", thing)

    def _log(self, row: SheetRow, drum: Drum, sent: Mapping[str, Any]) -> None:
        reader = self._reader
        happening = reader.sent(reader.tx, sent)
        try:
            logged = log_happening(
                reader.tx,
                tag=drum.tag,
                happening=happening,
                by=reader.by,
                now=self._recorded_at[row.line],
            )
        except Refused as error:
            mend = "Leave the row out, or have somebody bring it in who may."
            raise reader.fault("kind", row.cells["kind"], f"is refused: {error}", mend) from None
        to = happening.data.get("to")
        if happening.kind is EventKind.MOVED and logged.changed and drum.place_id == to:
            refuse_beyond_capacity(reader.tx, place_id=drum.place_id)
        reader.compute(logged.changed)

    def _drum(self, row: SheetRow) -> Drum:
        text = self._reader.needed(row, "tag")
        drum = drum_rows.drum_by_tag(self._reader.tx, tag=tags.parse(text))
        if drum is None:
            mend = "Import the drums first, or correct the tag."
            raise self._reader.fault("tag", text, "is not known", mend)
        return drum

    def _at(self, row: SheetRow, drum: Drum) -> datetime:
        reader = self._reader
        reader.needed(row, "at")
        place = catalogue.places_by_id(reader.tx, ids=[drum.place_id])[drum.place_id]
        at = reader.moment(row, "at", place=place, clock="clock")
        if at is None:  # never: it was needed
            raise reader.fault("at", None, "is empty", "Write when it happened.")
        return at

    def _roughly(self, row: SheetRow) -> datetime:
        """Return when it happened by the clock of where the drum is before any row is put.

        It is read again at its turn: an earlier row may have moved the drum to another clock.
        """
        try:
            return self._at(row, self._drum(row))
        except DrumkeepError:
            return _LAST  # refused, once it is its turn

    def _id(self, row: SheetRow) -> UUID | None:
        try:
            return self._reader.read(row, "id", _uuid)
        except DrumkeepError:
            return None

    def _check_receipt(
        self, row: SheetRow, drum: Drum, *, at: datetime, given: UUID | None
    ) -> None:
        """Refuse a receipt that is none of the drum's; note what it is called in the file."""
        first = effective(drum_rows.events_of(self._reader.tx, drum_ids=[drum.id])[drum.id])[0]
        if first.at != at and first.id != given:
            problem = f"is not when it was received, {first.at:%Y-%m-%dT%H:%M:%SZ}"
            mend = "Import drums by a file of drums; correct a receipt on the drum's page."
            raise self._reader.fault("at", row.cells["at"], problem, mend)
        if given is not None:
            self._receipts[str(given)] = str(first.id)

    def _body(self, row: SheetRow, kind: EventKind, *, at: datetime) -> dict[str, Any]:
        """Return a row's event as it is sent, without its id and note."""
        reader = self._reader
        asked = _ASKED.get(kind, {})
        stray = next((name for name in _OWN if name not in asked and reader.text(row, name)), None)
        if stray is not None:
            problem = f"is not told of a drum that was {kind.value}"
            mend = "Give it a row of its own, or clear the cell."
            raise reader.fault(stray, row.cells[stray], problem, mend)
        exported = reader.read(row, "data", json_object) or {}
        body = {"kind": kind.value, "at": at.isoformat(), **self._as_sent(kind, exported)}
        for name, field in asked.items():
            value = self._value(row, name)
            if value is not None:
                body[field] = value
        return body

    def _as_sent(self, kind: EventKind, kept: Mapping[str, Any]) -> dict[str, Any]:
        """Return an event's own fields as they are sent, from those that the log keeps."""
        fields = {name: value for name, value in kept.items() if name not in _FOUND_OUT}
        if kind is EventKind.WEIGHED and "gross_kg" in fields:
            fields.pop("net_kg", None)
        if kind is EventKind.WANTED and "wanted_at" in fields:
            wanted_at = fields.pop("wanted_at")
            fields |= {"withdrawn": True} if wanted_at is None else {"at": wanted_at}
        if kind is EventKind.CORRECTED:
            if "at" in fields:
                fields["new_at"] = fields.pop("at")
            fields["event"] = self._receipts.get(str(kept.get("event")), kept.get("event"))
        return fields

    def _value(self, row: SheetRow, name: str) -> object:
        reader = self._reader
        if name in _MASSES:
            return reader.mass(row, name)
        if name == "temperature":
            return reader.temperature(row, name)
        if name == "to" and reader.text(row, name) is not None:
            place = reader.place(row, name)
            return catalogue.place_references(reader.tx, ids=[place.id])[place.id]
        if name in _UNITS:
            return reader.read(row, name, partial(_UNITS[name], unit=reader.unit(name)))
        return reader.read(row, name, _WORDS.get(name, str))


def _is_twin(known: Event, drum: Drum, kind: EventKind) -> bool:
    """Whether an event on record was made of the other drum's, and is that of a row."""
    same = (known.drum_id, known.kind) == (drum.id, kind.value)
    return same and told_by(known.data) is not None


def _uuid(text: str) -> UUID:
    try:
        return UUID(text)
    except ValueError:
        raise Unclear("is no UUID", "Leave it as it was exported, or clear it.") from None
