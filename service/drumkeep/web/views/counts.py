"""A count of a place as its page shows it."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime
from typing import Final
from uuid import uuid4

from drumkeep.domain.counts import MENDS, DifferenceKind, Mend
from drumkeep.operations.counts import CountNow
from drumkeep.storage import catalogue
from drumkeep.storage import counts as rows
from drumkeep.storage import drums as drum_rows
from drumkeep.storage.tables.catalogue import Place, Site
from drumkeep.storage.tables.counts import CountDifference
from drumkeep.storage.transaction import Tx

MEND_WORDS: Final = {
    Mend.MOVE_HERE: "Record that it is here",
    Mend.HOLD_MISSING: "Mark it as missing: on hold",
    Mend.LEAVE: "Leave it as it is",
}
MENDED_WORDS: Final = {
    Mend.MOVE_HERE: "recorded as moved here",
    Mend.HOLD_MISSING: "put on hold, not found in count",
    Mend.LEAVE: "left as it is",
}


@dataclass(frozen=True, slots=True, kw_only=True)
class CountLine:
    """A count in the list; ``waiting`` differences nobody has mended."""

    id: int
    place: str
    begun_at: datetime
    by: str
    finished_at: datetime | None
    seen: int
    differences: int
    waiting: int
    timezone: str


@dataclass(frozen=True, slots=True, kw_only=True)
class SeenView:
    """A drum that was seen; ``side`` None for a tag of no drum."""

    tag: str
    side: str | None
    lot: str
    by: str
    at: datetime


@dataclass(frozen=True, slots=True, kw_only=True)
class DifferenceView:
    """One difference: ``kind`` in the rules' word, where the records had the drum, its mends.

    ``mends`` are (value, words) with ``id`` for the event that one may record; ``mended`` is what
    was done about it.
    """

    kind: str
    tag: str
    side: str | None
    lot: str
    recorded: str | None
    mends: tuple[tuple[str, str], ...]
    id: str
    mended: str | None
    mended_by: str | None
    mended_at: datetime | None


@dataclass(frozen=True, slots=True, kw_only=True)
class CountView:
    """A count; ``expected`` drums are on record in the place now, ``last`` was seen last."""

    id: int
    place: str
    code: str
    site: str
    begun_at: datetime
    by: str
    finished_at: datetime | None
    finished_by: str | None
    expected: int
    seen: tuple[SeenView, ...]
    last: SeenView | None
    differences: tuple[DifferenceView, ...]

    @property
    def waiting(self) -> int:
        """How many differences nobody has mended."""
        return sum(one.mended is None for one in self.differences)


def count_view(tx: Tx, found: CountNow, *, place: Place, site: Site, last: str) -> CountView:
    """Return a count as its page shows it, what was seen last first."""
    drums = drum_rows.drums_by_id(
        tx,
        ids=[
            drum_id
            for drum_id in (
                *(one.drum_id for one in found.seen),
                *(one.drum_id for one in found.differences),
            )
            if drum_id is not None
        ],
    )
    lots = drum_rows.lots_and_products(tx, lot_ids=[drum.lot_id for drum in drums.values()])
    told = {
        drum_id: (lots[drum.lot_id][1].side, lots[drum.lot_id][0].code)
        for drum_id, drum in drums.items()
    }
    nothing: tuple[str | None, str] = (None, "")
    seen = []
    for one in reversed(found.seen):
        side, lot = nothing if one.drum_id is None else told[one.drum_id]
        seen.append(SeenView(tag=one.tag, side=side, lot=lot, by=one.by, at=one.at))
    here = rows.drums_concerned(tx, tags=[], place_id=place.id)
    row = found.row
    return CountView(
        id=row.id,
        place=place.name,
        code=f"{site.code}/{place.code}",
        site=site.name,
        begun_at=row.begun_at,
        by=row.by,
        finished_at=row.finished_at,
        finished_by=row.finished_by,
        expected=len(here),
        seen=tuple(seen),
        last=next((one for one in seen if one.tag == last), None),
        differences=_differences(tx, found.differences, told=told),
    )


def _differences(
    tx: Tx, found: Sequence[CountDifference], *, told: dict[int, tuple[str, str]]
) -> tuple[DifferenceView, ...]:
    places = catalogue.places_by_id(tx, ids=[one.recorded_id for one in found])
    views = []
    for one in found:
        side, lot = told[one.drum_id] if one.drum_id is not None else (None, "")
        views.append(
            DifferenceView(
                kind=one.kind,
                tag=one.tag,
                side=side,
                lot=lot,
                recorded=None if one.recorded_id is None else places[one.recorded_id].name,
                mends=tuple(
                    (mend.value, MEND_WORDS[mend]) for mend in MENDS[DifferenceKind(one.kind)]
                ),
                id=str(uuid4()),
                mended=None if one.mend is None else MENDED_WORDS[Mend(one.mend)],
                mended_by=one.mended_by,
                mended_at=one.mended_at,
            )
        )
    return tuple(views)
