"""Pull lists and checks of sides as their pages show them."""

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import datetime, timedelta
from typing import Final

from markupsafe import Markup

from drumkeep.domain.products import Side
from drumkeep.domain.pulls import Hindrance, Missing
from drumkeep.operations.pulls import Line, PullNow, SideNow
from drumkeep.storage.tables.catalogue import Product, Site
from drumkeep.storage.tables.pulls import Pull
from drumkeep.storage.tables.side_checks import SideCheck
from drumkeep.web.formats import Formats
from drumkeep.web.qr import drawn
from drumkeep.web.views.sentences import all_said, said

OLD_AFTER: Final = timedelta(minutes=10)
"""A check that is older than this is no answer any more."""

HINDRANCE: Final[Mapping[Hindrance, str]] = {
    Hindrance.ON_HOLD: "on hold",
    Hindrance.UNKNOWN: "not known",
    Hindrance.TOO_WARM: "too warm",
    Hindrance.TOO_COLD: "too cold",
    Hindrance.KEEP_SHUT: "to be kept shut",
    Hindrance.LEAVES: "ready now, perhaps not then",
    Hindrance.EXPIRES: "past its shelf life by then",
    Hindrance.STALE: "not computed lately",
    Hindrance.LISTED: "on another list",
}

ANSWERS: Final[Mapping[str, str]] = {
    "do_not": "do not hook up",
    "not_ready": "not ready",
    "ask": "ask first",
    "fit": "a and b fit",
}
"""What a check answers."""


@dataclass(frozen=True, slots=True, kw_only=True)
class PullLine:
    """A drum of a list; ``hindered`` in a word, empty while it is ready in time."""

    tag: str
    lot: str
    place: str
    place_code: str
    net_kg: float
    hindered: str
    reason: str
    taken_at: datetime | None
    taken_by: str | None


@dataclass(frozen=True, slots=True, kw_only=True)
class PullSide:
    """One side of a list; ``lots`` where it holds several, ``lacks`` in sentences."""

    side: str
    product: str
    wanted: int
    taken: int
    net_kg: float
    lots: str
    lines: tuple[PullLine, ...]
    lacks: tuple[str, ...]
    more_ready: bool


@dataclass(frozen=True, slots=True, kw_only=True)
class PullHead:
    """A list in a line; ``closed_as`` empty while it is open."""

    id: int
    site: str
    timezone: str
    sets: int
    iso: str
    resin: str
    output: str
    wanted_at: datetime | None
    made_at: datetime
    by: str
    closed_as: str


@dataclass(frozen=True, slots=True, kw_only=True)
class PullView:
    """A list as its page shows it; ``one_system`` False where nobody said that they fit."""

    head: PullHead
    sides: tuple[PullSide, ...]
    one_system: bool


@dataclass(frozen=True, slots=True, kw_only=True)
class CheckLine:
    """A check in a table."""

    id: int
    at: datetime
    by: str
    answer: str
    words: str
    tags: tuple[str, ...]
    why: str


@dataclass(frozen=True, slots=True, kw_only=True)
class CheckedDrum:
    """A drum as it was when it was checked."""

    tag: str
    side: str
    product: str
    lot: str
    system: str | None


@dataclass(frozen=True, slots=True, kw_only=True)
class CheckView:
    """A check as its page shows it; ``old`` once it is no answer any more."""

    line: CheckLine
    reasons: tuple[str, ...]
    drums: tuple[CheckedDrum, ...]
    pull: int | None
    rig: str
    old: bool


def pull_head(pull: Pull, *, site: Site, products: Mapping[int, Product]) -> PullHead:
    """Return a list in a line."""
    return PullHead(
        id=pull.id,
        site=site.name,
        timezone=site.timezone,
        sets=pull.sets,
        iso=products[pull.iso_id].name,
        resin=products[pull.resin_id].name,
        output=pull.output,
        wanted_at=pull.wanted_at,
        made_at=pull.made_at,
        by=pull.by,
        closed_as=pull.closed_as or "",
    )


def pull_view(found: PullNow, *, formats: Formats) -> PullView:
    """Return a list as its page shows it."""
    products = {side.product.id: side.product for side in found.sides.values()}
    systems = {product.system for product in products.values()}
    return PullView(
        head=pull_head(found.pull, site=found.site, products=products),
        sides=tuple(
            _side(name, side, wanted=found.pull.sets, formats=formats)
            for name, side in found.sides.items()
        ),
        one_system=None not in systems and len(systems) == 1,
    )


def codes_of(view: PullView, *, address: str, formats: Formats) -> dict[str, Markup]:
    """Return QR codes by tag that lead from paper to the drums' pages."""
    tags = [line.tag for side in view.sides for line in side.lines]
    found = {}
    for tag in tags:
        title = formats.words("To drum {tag}", tag=tag)
        found[tag] = Markup(drawn(f"{address}/d/{tag}", title=title, sized=False))  # noqa: S704 - drawn by us
    return found


def _side(name: Side, side: SideNow, *, wanted: int, formats: Formats) -> PullSide:
    lots = sorted({line.candidate.lot for line in side.lines})
    return PullSide(
        side=name.value,
        product=side.product.name,
        wanted=wanted,
        taken=sum(line.row.taken_at is not None for line in side.lines),
        net_kg=sum(line.candidate.net_kg for line in side.lines),
        lots=", ".join(lots) if side.mixed else "",
        lines=tuple(_line(line, formats=formats) for line in side.lines),
        lacks=() if side.missing is None else _lacks(side.missing, formats=formats),
        more_ready=side.missing is not None and side.missing.ready > 0,
    )


def _line(line: Line, *, formats: Formats) -> PullLine:
    row, hindrance = line.standing.row, line.standing.hindrance
    return PullLine(
        tag=row.drum.tag,
        lot=row.lot.code,
        place=row.place.name,
        place_code=f"{row.site.code}/{row.place.code}",
        net_kg=row.drum.net_kg,
        hindered="" if hindrance is None else HINDRANCE[hindrance],
        reason=said(line.standing.reason, formats),
        taken_at=line.row.taken_at,
        taken_by=line.row.taken_by,
    )


def _lacks(missing: Missing, *, formats: Formats) -> tuple[str, ...]:
    """Say what a side lacks and when it could be there, in whole sentences."""
    said_so = [
        "1 drum is missing." if missing.count == 1 else f"{missing.count} drums are missing."
    ]
    if missing.ready:
        said_so.append(f"Ready by now and not on the list: {missing.ready}.")
    left = missing.count - missing.ready
    if missing.waiting and missing.could_at is not None:
        when = formats.when(missing.could_at)
        if missing.warm_room is None:
            said_so.append(f"Could be ready where they stand by {when}: {missing.waiting}.")
        else:
            said_so.append(
                f"Could be ready by {when} if brought into {missing.warm_room} now: "
                f"{missing.waiting}."
            )
    never = left - missing.waiting
    if missing.unlooked:
        said_so.append(
            f"Not looked at, because they are too many to compute ahead: {missing.unlooked} drums "
            "that may be ready then. Ask for what is ready now."
        )
    elif never > 0:
        said_so.append(
            f"No drum of this product here could be ready within four days for: {never}."
        )
    if missing.reasons:
        say = formats.tongue.say
        told = ", ".join(f"{say(HINDRANCE[why])} {drums}" for why, drums in missing.reasons)
        said_so.append(f"Not taken: {told}.")
    return tuple(said_so)


def check_line(check: SideCheck, *, formats: Formats) -> CheckLine:
    """Return a check in a line."""
    return CheckLine(
        id=check.id,
        at=check.at,
        by=check.by,
        answer=check.answer,
        words=ANSWERS[check.answer],
        tags=tuple(drum["tag"] for drum in check.told["drums"]),
        why=" ".join(all_said(check.told["reasons"], formats)),
    )


def check_view(check: SideCheck, *, rig: str, formats: Formats, now: datetime) -> CheckView:
    """Return a check as its page shows it."""
    drums = [
        CheckedDrum(**{name: drum[name] for name in CheckedDrum.__slots__})
        for drum in check.told["drums"]
    ]
    old = now - check.at > OLD_AFTER
    return CheckView(
        line=check_line(check, formats=formats),
        reasons=all_said(check.told["reasons"], formats),
        drums=tuple(sorted(drums, key=lambda drum: drum.side)),
        pull=check.pull_id,
        rig=rig,
        old=old,
    )
