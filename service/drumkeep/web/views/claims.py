"""Claims as pages show them: from the frozen record alone, in the reader's units and times."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import date, datetime, timedelta
from typing import Any, Final
from uuid import UUID

from drumkeep.domain.claims import ClaimState, SupplierFinding, When
from drumkeep.storage.claims import ClaimLine
from drumkeep.storage.tables.claims import Claim, ClaimNote
from drumkeep.storage.tables.drums import Event
from drumkeep.web.formats import Formats
from drumkeep.web.plot import Plot
from drumkeep.web.view_models import EventView, LimitView
from drumkeep.web.views.claim_plots import claim_plot
from drumkeep.web.views.events import event_views
from drumkeep.web.views.trace import DoubtLine, SensorLine, StayLine, doubt_words, hours_words
from drumkeep.web.wording import AND, drums_words

STATE_WORDS: Final[Mapping[str, str]] = {
    ClaimState.OPEN: "open",
    ClaimState.SENT: "sent to the supplier",
    ClaimState.SETTLED: "settled",
}
_WHEN_WORDS: Final[Mapping[str, str]] = {
    When.ARRIVAL: "{seen} on arrival",
    When.UNOPENED: "{seen} before it was ever opened",
    When.FIRST_OPENING: "{seen} at its first opening",
}
_WHAT_WORDS: Final = {"solids": "solids", "skin": "a skin", "bulge": "a bulge"}
_LIMIT_WORDS: Final = {
    "storage_low_c": "Store from",
    "storage_high_c": "Store to",
    "seed_c": "Seeding under",
    "deep_seed_c": "Seeds within minutes under",
    "gassing_c": "Gassing above",
    "maximum_c": "Maximum",
}


@dataclass(frozen=True, slots=True, kw_only=True)
class ClaimRow:
    """A claim in the list."""

    number: int
    words: str
    at: datetime
    by: str
    state: str


@dataclass(frozen=True, slots=True, kw_only=True)
class NoteView:
    """What became of a claim: words for the state, and what somebody wrote."""

    at: datetime
    by: str
    state: str
    text: str


@dataclass(frozen=True, slots=True, kw_only=True)
class FindingView:
    """What one look found, in words."""

    words: str
    at: datetime
    recorded_at: datetime
    by: str
    note: str


@dataclass(frozen=True, slots=True, kw_only=True)
class ClaimDrumView:
    """A drum of a claim; ``facts`` of its receipt, ``record`` of its temperatures, in words."""

    tag: str
    site: str
    facts: tuple[tuple[str, str], ...]
    findings: tuple[FindingView, ...]
    record: tuple[tuple[str, str], ...]
    gaps: tuple[tuple[datetime, datetime], ...]
    stays: tuple[StayLine, ...]
    events: tuple[EventView, ...]
    plot: Plot | None


@dataclass(frozen=True, slots=True, kw_only=True)
class ClaimView:
    """A claim as it was made."""

    number: int
    side: str
    product: str
    product_code: str
    lot: str
    facts: tuple[tuple[str, str], ...]
    at: datetime
    by: str
    checksum: str
    drums: tuple[ClaimDrumView, ...]
    limits: tuple[LimitView, ...]
    sensors: tuple[SensorLine, ...]
    doubts: tuple[DoubtLine, ...]


def claim_rows(lines: Sequence[ClaimLine], *, states: Mapping[int, str]) -> tuple[ClaimRow, ...]:
    """Return claims as the list shows them, newest first."""
    return tuple(
        ClaimRow(
            number=line.claim.id,
            words=f"{drums_words(line.drums)} of lot {line.lot.code}, {line.product.name}",
            at=line.claim.at,
            by=line.claim.by,
            state=STATE_WORDS[states.get(line.claim.id, ClaimState.OPEN)],
        )
        for line in reversed(lines)
    )


def note_views(notes: Sequence[ClaimNote]) -> tuple[NoteView, ...]:
    """Return what became of a claim, newest first."""
    return tuple(
        NoteView(
            at=note.at,
            by=note.by,
            state="" if note.state is None else STATE_WORDS[note.state],
            text=note.text,
        )
        for note in reversed(notes)
    )


def found_words(what: Sequence[str], when: str) -> str:
    """Say what a look found, and when in the drum's life."""
    seen = f" {AND} ".join(_WHAT_WORDS[name] for name in what)
    return _WHEN_WORDS[when].format(seen=f"{seen[0].upper()}{seen[1:]}")


def finding_words(findings: Sequence[SupplierFinding]) -> tuple[str, ...]:
    """Say what was found in a drum."""
    return tuple(found_words(found.what, found.when) for found in findings)


def claim_view(claim: Claim, *, formats: Formats) -> ClaimView:
    """Return a claim as its page shows it."""
    record = claim.record
    places = {int(key): name for key, name in record["places"].items()}
    limits = tuple(
        LimitView(name=_LIMIT_WORDS[limit["name"]], c=limit["c"], origin=limit["origin"])
        for limit in record["limits"]
    )
    return ClaimView(
        number=claim.id,
        side=record["product"]["side"],
        product=record["product"]["name"],
        product_code=record["product"]["code"],
        lot=record["lot"]["code"],
        facts=(
            ("Made", _day(record["lot"]["made_on"], formats)),
            ("Expires", _day(record["lot"]["expires_on"], formats)),
        ),
        at=claim.at,
        by=claim.by,
        checksum=claim.checksum,
        drums=tuple(
            _drum(drum, places=places, limits=limits, formats=formats.at(drum["zone"]))
            for drum in record["drums"]
        ),
        limits=limits,
        sensors=tuple(_sensor(told, formats=formats) for told in record["sensors"]),
        doubts=tuple(
            DoubtLine(
                words=doubt_words(told["kind"], told["place"]),
                since=_moment(told["since"]),
                until=_maybe(told["until"]),
            )
            for told in record["doubts"]
        ),
    )


def _drum(
    drum: Mapping[str, Any],
    *,
    places: Mapping[int, str],
    limits: Sequence[LimitView],
    formats: Formats,
) -> ClaimDrumView:
    events = [_event(told) for told in drum["events"]]
    return ClaimDrumView(
        tag=drum["tag"],
        site=drum["site"],
        facts=_receipt(drum, events, places=places, formats=formats),
        findings=tuple(
            FindingView(
                words=found_words(found["what"], found["when"]),
                at=_moment(found["at"]),
                recorded_at=_moment(found["recorded_at"]),
                by=found["by"],
                note=found["note"] or "",
            )
            for found in drum["findings"]
        ),
        record=_record(drum["temperature"], formats=formats),
        gaps=tuple(
            (_moment(gap["since"]), _moment(gap["until"])) for gap in drum["temperature"]["gaps"]
        ),
        stays=tuple(_stay(stay, formats=formats) for stay in drum["stays"]),
        events=event_views(events, places=places, formats=formats),
        plot=claim_plot(drum, limits=limits, formats=formats),
    )


def _event(told: Mapping[str, Any]) -> Event:
    return Event(
        id=UUID(int=0),
        drum_id=0,
        kind=told["kind"],
        at=_moment(told["at"]),
        recorded_at=_moment(told["recorded_at"]),
        by=told["by"],
        data=told["data"],
        note=told["note"],
    )


def _receipt(
    drum: Mapping[str, Any],
    events: Sequence[Event],
    *,
    places: Mapping[int, str],
    formats: Formats,
) -> tuple[tuple[str, str], ...]:
    """Return how a drum came, and what its label said."""
    receipt = next(event for event in events if event.kind == "received")
    skin = next((event for event in events if event.kind == "skin"), None)
    came = formats.words("not measured")
    if receipt.data.get("liquid_c") is not None:
        came = formats.words("{temp} by a dip", temp=formats.temp(receipt.data["liquid_c"]))
    elif skin is not None and skin.at - receipt.at < timedelta(hours=1):
        came = formats.words("{temp} on the skin", temp=formats.temp(skin.data["c"]))
    received = formats.words("{when}, by {by}", when=formats.exact(receipt.at), by=receipt.by)
    label = drum["label"]
    told = (
        ("Received", received),
        ("Into", places.get(receipt.data["place"], formats.words("a place"))),
        ("Temperature when it came", came),
        ("Label, as read", label.get("text")),
        ("Trade item", label.get("gtin")),
        ("Serial", label.get("serial")),
        ("Pallet", label.get("sscc")),
        ("Label says net", formats.mass(label["net_kg"]) if label.get("net_kg") else None),
        ("Label says keep from", formats.temp(label["lowest_c"]) if "lowest_c" in label else None),
        ("Label says keep to", formats.temp(label["highest_c"]) if "highest_c" in label else None),
        ("Note", receipt.note),
    )
    return tuple((name, words) for name, words in told if words)


def _record(told: Mapping[str, Any], *, formats: Formats) -> tuple[tuple[str, str], ...]:
    """Return our own temperature record in words."""
    if told.get("bottom_min_c") is None:
        return (("Temperature", "nothing is known of it"),)
    bottom = formats.temp_span(told["bottom_min_c"], told["bottom_max_c"])
    return (
        ("On record", hours_words(told["hours"])),
        ("Not known for", hours_words(told["unknown_h"])),
        ("Bottom", f"{bottom}, on average {formats.temp(told['bottom_mean_c'])}"),
        ("All of it within", formats.temp_span(told["low_c"], told["high_c"])),
        (f"Under {formats.temp(told['under']['limit_c'])}", _beyond(told["under"])),
        (f"Over {formats.temp(told['over']['limit_c'])}", _beyond(told["over"])),
        ("Computed at points", f"at most {hours_words(told['apart_h'])} apart"),
    )


def _beyond(limit: Mapping[str, Any]) -> str:
    """Say for how long a limit was passed."""
    likely, most = hours_words(limit["likely_h"]), hours_words(limit["possible_h"])
    return most if likely == most else f"{likely} by what is likely; at most {most}"


def _stay(stay: Mapping[str, Any], *, formats: Formats) -> StayLine:
    return StayLine(
        place="",
        where=f"{stay['place']}, {stay['site']}",
        since=_moment(stay["since"]),
        until=_maybe(stay["until"]),
        lasted=hours_words(stay["hours"]),
        bottom=formats.span(stay["bottom_min_c"], stay["bottom_max_c"]),
        mean=formats.degrees(stay["bottom_mean_c"]),
        within=formats.span(stay["low_c"], stay["high_c"]),
        unknown=hours_words(stay["unknown_h"]),
        apart="",
    )


def _sensor(told: Mapping[str, Any], *, formats: Formats) -> SensorLine:
    last = told["calibrations"][-1] if told["calibrations"] else None
    return SensorLine(
        name=told["name"],
        place=told["place"],
        since=_moment(told["since"]),
        until=_maybe(told["until"]),
        error=formats.fine_difference(told["error_k"]),
        corrected="as it came"
        if last is None
        else f"times {last['gain']:g} plus {last['offset']:g}, "
        f"since {formats.when(_moment(last['since']))}",
    )


def _moment(text: str) -> datetime:
    return datetime.fromisoformat(text)


def _day(text: str | None, formats: Formats) -> str:
    if text is None:
        return formats.words("by its shelf life")
    day = date.fromisoformat(text)
    return formats.tongue.date(day)


def _maybe(text: str | None) -> datetime | None:
    return None if text is None else _moment(text)
