"""The floor: every place as a shelf, with its air and its drums by lot."""

from collections import defaultdict
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta
from typing import Final
from urllib.parse import urlencode

import numpy as np
from numpy.typing import NDArray

from drumkeep.domain.air_ahead import STRIDE, air_ahead, basis_words
from drumkeep.domain.grid import moment_of, step_at
from drumkeep.domain.liquid_surroundings import PlaceHeat
from drumkeep.domain.places import PlaceKind
from drumkeep.domain.products import OutputClass, Side, default_product
from drumkeep.domain.roles import Role
from drumkeep.operations.alarms import open_first
from drumkeep.operations.surroundings import Ground, read_ground, read_places, supported_to
from drumkeep.storage import alarms as alarm_rows
from drumkeep.storage import drums as drum_rows
from drumkeep.storage.drums import StockRow
from drumkeep.storage.products import as_product
from drumkeep.storage.tables.alarms import Alarm
from drumkeep.storage.tables.catalogue import Place, Site
from drumkeep.storage.transaction import Tx
from drumkeep.web.formats import Formats
from drumkeep.web.view_models import (
    AirLine,
    DrumView,
    FloorView,
    GroupView,
    LimitView,
    ShelfView,
)
from drumkeep.web.views.alarms import OF_A_SENSOR, task_views
from drumkeep.web.views.drums import (
    drum_view,
    next_to_use_first,
    output_of,
    ready_times,
    verdict_of,
)
from drumkeep.web.views.sentences import said
from drumkeep.web.wording import PLACE_KIND, READINESS, output_words

PAST_STEPS: Final = 24 * 12
AHEAD_HOURS: Final = 12
EXTREMES_HOURS: Final = 24
"""The next low and high are told as far ahead as this: past midnight at any hour of the day."""

WORTH_TELLING_K: Final = 1.0
_LINE_STRIDE: Final = 3

_KIND_ORDER: Final = [
    PlaceKind.VEHICLE,
    PlaceKind.DOCK,
    PlaceKind.YARD,
    PlaceKind.WAREHOUSE,
    PlaceKind.WARM_ROOM,
    PlaceKind.RIG,
    PlaceKind.JOB_SITE,
]

TOMORROW_AT_SIX: Final = "tomorrow-6"


@dataclass(frozen=True)
class Sift:
    """The filter as it stands in the address; empty text for "all"."""

    site: str = ""
    side: str = ""
    lot: str = ""
    place: str = ""
    readiness: str = ""
    by: str = ""
    output: str = ""

    def given(self) -> dict[str, str]:
        """Return what is set."""
        return {name: value for name, value in self.__dict__.items() if value}

    def is_strange(self) -> bool:
        """Whether it asks for something that there cannot be, and so for no drum."""
        return self.by not in ("", TOMORROW_AT_SIX) or self.output not in ("", *OutputClass)


def floor_view(
    tx: Tx, *, sift: Sift, formats: Formats, role: Role, now: datetime, worded: bool = False
) -> FloorView:
    """Return the floor.

    Parameters
    ----------
    tx
        Any transaction.
    sift
        Which drums.
    formats
        The viewer's.
    role
        The viewer's, for what may be acknowledged.
    now
        The present, UTC.
    worded
        Whether each drum's reasons will be read.
    """
    ground = read_ground(tx)
    every = drum_rows.list_drums(tx, limit=None)
    output = OutputClass(sift.output) if sift.output in set(OutputClass) else None
    kept = [row for row in every if _keeps(row, sift=sift, output=output, formats=formats)]
    step = max((row.estimate.step for row in every if row.estimate), default=step_at(now))
    places = _places(ground, kept=kept, sift=sift)
    heats = read_places(
        tx, ground=ground, place_ids=[p.id for p in places], first=step - PAST_STEPS, last=step
    )
    alarms = open_first(alarm_rows.open_alarms(tx))
    doubts = _doubts(alarms, ground=ground, formats=formats)
    by_place: dict[int, list[DrumView]] = defaultdict(list)
    kinds = {row.product.id: row.product for row in kept}
    products = {kind: as_product(product) for kind, product in kinds.items()}
    for row in kept:
        product = products[row.product.id]
        view = drum_view(row, formats=formats, output=output, product=product, worded=worded)
        by_place[row.place.id].append(view)
    shelves = tuple(
        _shelf(
            place,
            site=ground.sites[place.site_id],
            heat=heats[place.id],
            drums=by_place[place.id],
            doubts=doubts.get(place.id, ()),
            step=step,
        )
        for place in places
    )
    choices = _choices(every, ground=ground, formats=formats)
    return FloorView(
        tasks=task_views(tx, alarms, formats=formats, role=role),
        shelves=shelves,
        checked_at=_checked_at(every, now=now),
        oldest_reading_at=_oldest(heats.values()),
        filter_words=_words(sift, choices=choices),
        filters=sift.given(),
        choices=choices,
        query=urlencode(sift.given()),
        counts=_counts(kept, output=output),
    )


def _checked_at(rows: Sequence[StockRow], *, now: datetime) -> datetime:
    """Return when the oldest of the newest computations was made."""
    return min((row.estimate.computed_at for row in rows if row.estimate), default=now)


def _oldest(heats: Iterable[PlaceHeat]) -> datetime | None:
    """Return the oldest newest reading among places whose air is known now."""
    times = [
        moment
        for heat in heats
        if heat.air.supported[-1] and (moment := supported_to(heat.air)) is not None
    ]
    return min(times, default=None)


def _keeps(row: StockRow, *, sift: Sift, output: OutputClass | None, formats: Formats) -> bool:
    verdict = verdict_of(row, output=output_of(row, output))
    asked_and_found = (
        (sift.site, row.site.code),
        (sift.side, row.product.side),
        (sift.lot, row.lot.code),
        (sift.place, f"{row.site.code}/{row.place.code}"),
        (sift.readiness, verdict["state"]),
    )
    if any(asked and asked != found for asked, found in asked_and_found) or sift.is_strange():
        return False
    if not sift.by or verdict["state"] == "ready":
        return True
    deadline = _tomorrow_at_six(formats.at(row.site.timezone))
    return any(t is not None and t <= deadline for t in ready_times(verdict))


def _tomorrow_at_six(local: Formats) -> datetime:
    today = local.local(local.now)
    return (today + timedelta(days=1)).replace(hour=6, minute=0, second=0, microsecond=0)


def _places(ground: Ground, *, kept: Sequence[StockRow], sift: Sift) -> list[Place]:
    """Return the shelves in order: what is on its way first, then sheds, warm rooms and rigs."""
    occupied = {row.place.id for row in kept}
    narrowed = any((sift.side, sift.lot, sift.readiness, sift.by))
    shown = [
        place
        for place in ground.places.values()
        if (not sift.site or ground.sites[place.site_id].code == sift.site)
        and (not sift.place or _reference(place, ground) == sift.place)
        and (not narrowed or place.id in occupied)
    ]
    return sorted(
        shown, key=lambda p: (p.site_id, _KIND_ORDER.index(PlaceKind(p.kind)), p.name, p.id)
    )


def _reference(place: Place, ground: Ground) -> str:
    return f"{ground.sites[place.site_id].code}/{place.code}"


def _doubts(
    alarms: Sequence[Alarm], *, ground: Ground, formats: Formats
) -> dict[int, tuple[str, ...]]:
    found: dict[int, list[str]] = defaultdict(list)
    for alarm in alarms:
        active = alarm.state in ("unacknowledged", "acknowledged", "shelved")
        if active and alarm.kind in OF_A_SENSOR and alarm.place_id is not None:
            zone = ground.sites[alarm.site_id].timezone
            found[alarm.place_id].append(said(alarm.message, formats.at(zone)))
    return {place: tuple(words) for place, words in found.items()}


def _shelf(
    place: Place,
    *,
    site: Site,
    heat: PlaceHeat,
    drums: Sequence[DrumView],
    doubts: Sequence[str],
    step: int,
) -> ShelfView:
    air = heat.air
    known = bool(air.supported[-1])
    ahead = air_ahead(
        kind=PlaceKind(place.kind),
        set_point_c=place.set_point_c,
        air=air,
        clues=heat.clues,
        now_step=step,
        hours=EXTREMES_HOURS,
    )
    line = AirLine()
    low: tuple[float, datetime] | None = None
    high: tuple[float, datetime] | None = None
    if np.isfinite(air.likely[-1]):
        times = [moment_of(step + i * STRIDE) for i in range(len(ahead.likely))]
        drawn = [at for at in times if at <= times[0] + timedelta(hours=AHEAD_HOURS)]
        line = AirLine(
            past=tuple(
                (moment_of(air.first + i), float(air.likely[i]))
                for i in range(0, len(air.likely), _LINE_STRIDE)
                if air.supported[i]
            ),
            ahead=tuple(
                (at, float(c), float(low_c), float(high_c))
                for at, c, low_c, high_c in zip(
                    drawn, ahead.likely, ahead.low, ahead.high, strict=False
                )
            ),
            basis=basis_words(ahead, now=moment_of(step)),
        )
        low, high = _extremes(ahead.likely, times)
    return ShelfView(
        place=place.name,
        code=f"{site.code}/{place.code}",
        kind=place.kind,
        kind_words=PLACE_KIND[place.kind],
        site=site.name,
        timezone=site.timezone,
        air_c=float(air.likely[-1]) if known else None,
        air_at=supported_to(air),
        air_basis=None if known else "Air not known now: what stands here is not known either.",
        air_line=line,
        limit_lines=_limit_lines(drums),
        night_low=low,
        day_high=high,
        doubts=tuple(doubts),
        groups=_groups(drums),
    )


def _extremes(
    likely: NDArray[np.float64], times: Sequence[datetime]
) -> tuple[tuple[float, datetime] | None, tuple[float, datetime] | None]:
    """Return the next low and high, each unless it is now or the air hardly changes."""
    if np.ptp(likely) < WORTH_TELLING_K:
        return None, None
    low, high = int(likely.argmin()), int(likely.argmax())
    return (
        (float(likely[low]), times[low]) if low else None,
        (float(likely[high]), times[high]) if high else None,
    )


def _limit_lines(drums: Sequence[DrumView]) -> tuple[LimitView, ...]:
    """Return the hairlines of a shelf: where iso seeds and where resin gasses."""
    lines = {}
    for drum in drums:
        for limit in drum.limits:
            if limit.name in ("Seeding", "Gassing above"):
                lines[limit.name, limit.c] = limit
    if not lines:
        limits = default_product(Side.ISO).limits
        lines = {("", 0.0): LimitView(name="Seeding", c=limits.seed_c, origin="default")}
    return tuple(lines.values())


def _groups(drums: Sequence[DrumView]) -> tuple[GroupView, ...]:
    by_lot: dict[tuple[str, str, str], list[DrumView]] = defaultdict(list)
    for drum in drums:
        by_lot[drum.side, drum.product, drum.lot].append(drum)
    return tuple(
        GroupView(lot=lot, product=product, side=some[0].side, drums=next_to_use_first(some))
        for (_, product, lot), some in sorted(by_lot.items())
    )


def _counts(rows: Sequence[StockRow], *, output: OutputClass | None) -> Mapping[str, int]:
    counts: dict[str, int] = defaultdict(int)
    for row in rows:
        counts[verdict_of(row, output=output_of(row, output))["state"]] += 1
    return dict(counts)


def _choices(
    rows: Sequence[StockRow], *, ground: Ground, formats: Formats
) -> dict[str, tuple[tuple[str, str], ...]]:
    lots = sorted({row.lot.code for row in rows})
    places = [
        (_reference(p, ground), f"{p.name}, {ground.sites[p.site_id].name}")
        for p in ground.places.values()
    ]
    return {
        "side": (("", "all drums"), ("iso", "iso drums"), ("resin", "resin drums")),
        "lot": (("", "every lot"), *((lot, f"lot {lot}") for lot in lots)),
        "place": (("", "every place"), *sorted(places, key=lambda p: p[1])),
        "readiness": (("", "whatever their state"), *READINESS.items()),
        "by": (("", "at any time"), (TOMORROW_AT_SIX, f"ready by {_six(formats)}")),
        "output": (
            ("", "each site's output"),
            *((output.value, output_words(output, formats)) for output in OutputClass),
        ),
    }


def _six(formats: Formats) -> str:
    return formats.when(_tomorrow_at_six(formats))


def _words(sift: Sift, *, choices: Mapping[str, Sequence[tuple[str, str]]]) -> str:
    """Return the filter in words; what is no choice as it was typed."""
    if not sift.given():
        return ""

    def word(name: str) -> str:
        typed: str = getattr(sift, name)
        return dict(choices.get(name, ())).get(typed, typed)

    parts = [word("side") if sift.side else "drums"]
    parts += [f"of lot {sift.lot}"] if sift.lot else []
    if sift.place or sift.site:
        parts.append(f"in {word('place') if sift.place else sift.site}")
    parts += [word(name) for name in ("readiness", "by") if getattr(sift, name)]
    parts += [f"for {word('output')}"] if sift.output else []
    return " ".join(parts)
