"""The floor: every place as a shelf, with its air and its drums by lot."""

from collections import defaultdict
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta
from typing import Final
from urllib.parse import urlencode

from drumkeep.domain.grid import from_ms, step_at, to_ms
from drumkeep.domain.places import PlaceKind
from drumkeep.domain.products import OutputClass, Side, default_product
from drumkeep.domain.roles import Role
from drumkeep.operations.alarms import open_first
from drumkeep.operations.ground import Premises, read_premises
from drumkeep.operations.shelf_air import ShelfAir, read_shelf_airs
from drumkeep.storage import alarms as alarm_rows
from drumkeep.storage import glances as rows
from drumkeep.storage.glances import Glimpse, Tally, Wanted
from drumkeep.storage.tables.alarms import Alarm
from drumkeep.storage.tables.catalogue import Place, Site
from drumkeep.storage.transaction import Tx
from drumkeep.web.figure import DRAWN_AT_ONCE
from drumkeep.web.formats import Formats
from drumkeep.web.view_models import AirLine, FloorView, GroupView, LimitView, ShelfView
from drumkeep.web.views.alarms import OF_A_SENSOR, task_views
from drumkeep.web.views.consumables import low_views
from drumkeep.web.views.glimpses import Stock, by_group
from drumkeep.web.views.notices import unheard_words
from drumkeep.web.views.rig_checks import never_checked
from drumkeep.web.views.sentences import said
from drumkeep.web.wording import PLACE_KIND, READINESS, TALLY, output_words

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


@dataclass(frozen=True)
class Asked:
    """The filter understood: which drums, and on which shelves."""

    wanted: Wanted
    shelves: Sequence[Place]
    output: OutputClass | None
    strange: bool


def floor_view(
    tx: Tx, *, sift: Sift, formats: Formats, role: Role, now: datetime, drawn: bool = True
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
    drawn
        Whether the shelves will be drawn; else they are left out.
    """
    premises = read_premises(tx)
    asked = asked_for(sift, premises=premises, formats=formats)
    tallies = [] if asked.strange else rows.tallies(tx, wanted=asked.wanted)
    computed_ms, newest = rows.computed(tx)
    step = step_at(now) if newest is None else newest
    places = _shelf_order(asked, tallies=tallies, sift=sift)
    airs = read_shelf_airs(tx, place_ids=[p.id for p in places], step=step)
    alarms = open_first(alarm_rows.open_alarms(tx))
    choices = _choices(rows.lot_codes(tx), premises=premises, formats=formats)
    return FloorView(
        tasks=task_views(tx, alarms, formats=formats, role=role),
        shelves=_shelves(
            tx,
            asked=asked,
            places=places,
            tallies=tallies,
            premises=premises,
            airs=airs,
            doubts=_doubts(alarms, premises=premises, formats=formats),
        )
        if drawn
        else (),
        checked_at=now if computed_ms is None else from_ms(computed_ms),
        low=low_views(tx),
        unchecked=never_checked(tx),
        unheard=unheard_words(tx, alarms),
        oldest_reading_at=_oldest(airs.values()),
        filter_words=_words(sift, choices=choices, formats=formats),
        filters=sift.given(),
        choices=choices,
        query=urlencode(sift.given()),
        counts=_counts(tallies),
    )


def asked_for(sift: Sift, *, premises: Premises, formats: Formats) -> Asked:
    """Return what a filter asks for."""
    shelves = [
        place
        for place in premises.places.values()
        if (not sift.site or premises.sites[place.site_id].code == sift.site)
        and (not sift.place or _reference(place, premises) == sift.place)
    ]
    output = OutputClass(sift.output) if sift.output in set(OutputClass) else None
    by_ms = {
        site.id: to_ms(_tomorrow_at_six(formats.at(site.timezone)))
        for site in premises.sites.values()
    }
    wanted = Wanted(
        output=None if output is None else output.value,
        place_ids=[place.id for place in shelves] if sift.site or sift.place else None,
        side=sift.side or None,
        lot=sift.lot or None,
        state=sift.readiness or None,
        by_ms=by_ms if sift.by else None,
    )
    return Asked(wanted=wanted, shelves=shelves, output=output, strange=sift.is_strange())


def _oldest(airs: Iterable[ShelfAir]) -> datetime | None:
    """Return the oldest newest reading among places whose air is known now."""
    times = [
        air.supported_to_ms
        for air in airs
        if air.now_c is not None and air.supported_to_ms is not None
    ]
    return from_ms(min(times)) if times else None


def _tomorrow_at_six(local: Formats) -> datetime:
    today = local.local(local.now)
    return (today + timedelta(days=1)).replace(hour=6, minute=0, second=0, microsecond=0)


def _shelf_order(asked: Asked, *, tallies: Sequence[Tally], sift: Sift) -> list[Place]:
    """Return the shelves in order: what is on its way first, then sheds, warm rooms and rigs."""
    occupied = {tally.place_id for tally in tallies}
    narrowed = any((sift.side, sift.lot, sift.readiness, sift.by))
    shown = [place for place in asked.shelves if not narrowed or place.id in occupied]
    return sorted(
        shown, key=lambda p: (p.site_id, _KIND_ORDER.index(PlaceKind(p.kind)), p.name, p.id)
    )


def _reference(place: Place, premises: Premises) -> str:
    return f"{premises.sites[place.site_id].code}/{place.code}"


def _doubts(
    alarms: Sequence[Alarm], *, premises: Premises, formats: Formats
) -> dict[int, tuple[str, ...]]:
    found: dict[int, list[str]] = defaultdict(list)
    for alarm in alarms:
        active = alarm.state in ("unacknowledged", "acknowledged", "shelved")
        if active and alarm.kind in OF_A_SENSOR and alarm.place_id is not None:
            zone = premises.sites[alarm.site_id].timezone
            found[alarm.place_id].append(said(alarm.message, formats.at(zone)))
    return {place: tuple(words) for place, words in found.items()}


def _shelves(
    tx: Tx,
    *,
    asked: Asked,
    places: Sequence[Place],
    tallies: Sequence[Tally],
    premises: Premises,
    airs: Mapping[int, ShelfAir],
    doubts: Mapping[int, Sequence[str]],
) -> tuple[ShelfView, ...]:
    """Return the shelves; of their drums only the gravest of each group and the few drawn."""
    stock = Stock(tx, premises=premises, lot_ids=sorted({tally.lot_id for tally in tallies}))
    alike: dict[tuple[int, int], list[Tally]] = defaultdict(list)
    for tally in tallies:
        alike[tally.place_id, tally.lot_id].append(tally)
    lots: dict[int, list[int]] = defaultdict(list)
    for place_id, lot_id in sorted(alike, key=lambda group: stock.lot_order(group[1])):
        lots[place_id].append(lot_id)
    order = [(place.id, lot_id) for place in places for lot_id in lots[place.id]]
    gravest = {
        (row.place_id, row.lot_id): stock.drum(row, output=asked.output)
        for row in (rows.gravest(tx, wanted=asked.wanted) if order else ())
    }
    drawn = _drawn(tx, asked=asked, order=order, alike=alike)
    return tuple(
        _shelf(
            place,
            site=premises.sites[place.site_id],
            air=airs[place.id],
            groups=[
                stock.group(
                    alike[place.id, lot_id],
                    gravest=gravest[place.id, lot_id],
                    drums=[
                        stock.drum(row, output=asked.output)
                        for row in drawn.get((place.id, lot_id), ())
                    ],
                )
                for lot_id in lots[place.id]
            ],
            limits=stock.limits(lots[place.id]),
            doubts=doubts.get(place.id, ()),
        )
        for place in places
    )


def _drawn(
    tx: Tx,
    *,
    asked: Asked,
    order: Sequence[tuple[int, int]],
    alike: Mapping[tuple[int, int], Sequence[Tally]],
) -> Mapping[tuple[int, int], Sequence[Glimpse]]:
    """Return the drums that are drawn singly, from the top of the floor down."""
    whole, left = [], DRAWN_AT_ONCE
    found: dict[tuple[int, int], Sequence[Glimpse]] = {}
    for group in order:
        size = sum(tally.count for tally in alike[group])
        if size > left:
            found[group] = rows.next_to_use(tx, wanted=asked.wanted, groups=[group], limit=left)
            break
        whole.append(group)
        left -= size
        if not left:
            break
    if whole:
        found |= by_group(
            rows.next_to_use(tx, wanted=asked.wanted, groups=whole, limit=DRAWN_AT_ONCE)
        )
    return found


def _shelf(
    place: Place,
    *,
    site: Site,
    air: ShelfAir,
    groups: Sequence[GroupView],
    limits: Sequence[LimitView],
    doubts: Sequence[str],
) -> ShelfView:
    known = air.now_c is not None
    return ShelfView(
        place=place.name,
        code=f"{site.code}/{place.code}",
        kind=place.kind,
        kind_words=PLACE_KIND[place.kind],
        site=site.name,
        timezone=site.timezone,
        air_c=air.now_c,
        air_at=None if air.supported_to_ms is None else from_ms(air.supported_to_ms),
        air_basis=None if known else "Air not known now: what stands here is not known either.",
        air_line=AirLine(
            past=tuple((ms, c) for ms, c in air.past),
            ahead=tuple((ms, c, low, high) for ms, c, low, high in air.ahead),
            basis=air.basis,
        ),
        limit_lines=_limit_lines(limits),
        night_low=None if air.low is None else (air.low[0], from_ms(int(air.low[1]))),
        day_high=None if air.high is None else (air.high[0], from_ms(int(air.high[1]))),
        doubts=tuple(doubts),
        groups=tuple(groups),
    )


def _limit_lines(limits: Sequence[LimitView]) -> tuple[LimitView, ...]:
    """Return the hairlines of a shelf: where iso seeds and where resin gasses."""
    lines = {
        (limit.name, limit.c): limit
        for limit in limits
        if limit.name in ("Seeding", "Gassing above")
    }
    if not lines:
        usual = default_product(Side.ISO).limits
        lines = {("", 0.0): LimitView(name="Seeding", c=usual.seed_c, origin="default")}
    return tuple(lines.values())


def _counts(tallies: Sequence[Tally]) -> Mapping[str, int]:
    counts: dict[str, int] = defaultdict(int)
    for tally in tallies:
        counts[tally.state] += tally.count
    return dict(counts)


def _choices(
    lots: Sequence[str], *, premises: Premises, formats: Formats
) -> dict[str, tuple[tuple[str, str], ...]]:
    places = [
        (_reference(p, premises), f"{p.name}, {premises.sites[p.site_id].name}")
        for p in premises.places.values()
    ]
    words = formats.words
    return {
        "side": (
            ("", words("all drums")),
            ("iso", words("iso drums")),
            ("resin", words("resin drums")),
        ),
        "lot": (
            ("", words("every lot")),
            *((lot, words("lot {lot}", lot=lot)) for lot in lots),
        ),
        "place": (("", words("every place")), *sorted(places, key=lambda p: p[1])),
        "readiness": (
            ("", words("whatever their state")),
            *((state, words(said)) for state, said in READINESS.items()),
        ),
        "by": (
            ("", words("at any time")),
            (TOMORROW_AT_SIX, words("ready by {time}", time=_six(formats))),
        ),
        "output": (
            ("", words("each site's output")),
            *((output.value, output_words(output, formats)) for output in OutputClass),
        ),
    }


def _six(formats: Formats) -> str:
    return formats.when(_tomorrow_at_six(formats))


def _words(
    sift: Sift, *, choices: Mapping[str, Sequence[tuple[str, str]]], formats: Formats
) -> str:
    """Return the filter in words; what is no choice as it was typed."""
    if not sift.given():
        return ""

    def word(name: str) -> str:
        typed: str = getattr(sift, name)
        return dict(choices.get(name, ())).get(typed, typed)

    words = formats.words
    parts = [word("side") if sift.side else words("drums")]
    parts += [words("of lot {lot}", lot=sift.lot)] if sift.lot else []
    if sift.place or sift.site:
        parts.append(words("in {place}", place=word("place") if sift.place else sift.site))
    if sift.readiness in TALLY:  # of several drums, which Spanish says otherwise than of one
        _, many = TALLY[sift.readiness]
        parts.append(words(many, number="").strip())
    elif sift.readiness:
        parts.append(sift.readiness)
    parts += [word("by")] if sift.by else []
    parts += [words("for {output}", output=word("output"))] if sift.output else []
    return " ".join(parts)
