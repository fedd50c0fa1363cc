"""Views with everything in them: invented drums, places and people.

Over 400 lines because every template is rendered here, from views that belong together.
"""

from collections import Counter
from collections.abc import Callable, Mapping
from dataclasses import fields, is_dataclass, replace
from datetime import UTC, datetime, timedelta
from typing import Any
from zoneinfo import ZoneInfo

from drumkeep.domain.grid import to_ms
from drumkeep.domain.quantities import celsius_from_fahrenheit as f
from drumkeep.errors import Fault
from drumkeep.operations.sheet_import import RowFate, SheetReport
from drumkeep.operations.sheet_reader import Meant
from drumkeep.web.airline import Scale
from drumkeep.web.drum_words import drum_marks
from drumkeep.web.formats import Formats
from drumkeep.web.methods import methods_context
from drumkeep.web.templating import render
from drumkeep.web.view_models import (
    AirLine,
    AlarmEntry,
    AlarmView,
    DrumView,
    EventView,
    FaultView,
    FloorView,
    GroupView,
    HistoryRow,
    LimitView,
    PressureView,
    ProblemView,
    ShelfView,
    TaskView,
    Units,
    VerdictView,
    Viewer,
)
from drumkeep.web.views.devices import DeviceView, DeviceViews
from drumkeep.web.views.events import ActionView
from drumkeep.web.views.labels import PrintView
from drumkeep.web.views.people import DeviceLine, PersonLine
from drumkeep.web.views.places import FilmView, PlaceView, SettingView
from drumkeep.web.views.products import PropertyRow
from drumkeep.web.views.sensors import DoubtView, SensorView, SpotView
from drumkeep.web.views.straps import StrapView
from drumkeep.web.views.why import (
    MeasuredView,
    PartView,
    SensorWhyView,
    WhyView,
)
from drumkeep.web.wording import ACTION
from tests.unit.web.account_samples import account_pages
from tests.unit.web.device_samples import device_pages, stray
from tests.unit.web.move_samples import move_pages
from tests.unit.web.notice_samples import notice, notice_pages
from tests.unit.web.paper_samples import paper_pages, papers
from tests.unit.web.pull_samples import pull_pages
from tests.unit.web.receiving_samples import receiving_pages
from tests.unit.web.stock_samples import stock_pages

NOW = datetime(2027, 2, 5, 7, 12, tzinfo=UTC)  # 1:12 am at the site
CHICAGO = ZoneInfo("America/Chicago")
HOUR = timedelta(hours=1)
DEVICE = DeviceLine(
    handle="00ff",
    words="Android phone",
    address="192.0.2.7",
    since=NOW,
    until=NOW + timedelta(days=60),
    here=True,
)
SAYS = DeviceView(
    name="urn:dev:os:32473-p-1:battery",
    noun="Battery",
    bearer="pine/north",
    last="34 %",
    low=None,
    last_at=NOW,
    timezone="UTC",
    line=None,
    scale=Scale(write=lambda value: f"{value:.0f} %", least_span=10.0),
)
PERSON = PersonLine(
    name="dana", display_name="Dana", role="crew", language="", disabled_at=None, devices=(DEVICE,)
)
VIEWER = Viewer(display_name="Ana Ruiz", role="manager", units="us", csrf="token-7")


def formats(units: Units = "us", language: str = "en") -> Formats:
    return Formats(units=units, timezone=CHICAGO, now=NOW, language=language)


def drum(tag: str = "K7Q-X4M", **changes: Any) -> DrumView:
    plain = DrumView(
        tag=tag,
        side="iso",
        product="Polymeric iso",
        product_code="iso-1",
        lot="2231",
        place="North shed",
        place_code="north",
        place_kind="warehouse",
        site="Pine Street",
        fill=0.97,
        net_kg=242.0,
        readiness="too_cold",
        answer="NOT YET",
        use_band_c=(f(70), f(90)),
        storage_band_c=(10.0, f(75)),
        output_class="from_20",
        layers_c=tuple(f(61 + 0.6 * n) for n in range(8)),
        bottom_c=f(61),
        mean_c=f(63),
        top_c=f(65.2),
        low_c=f(57),
        high_c=f(67),
        basis="modelled",
        computed_at=NOW - timedelta(minutes=2),
        supported_to=NOW - timedelta(minutes=4),
        reasons=("The bottom is below 70 °F.",),
        advice=("Move it to Warm room 1.",),
        cautions=("Never heat it tight.",),
        warm_room="Warm room 1",
        ready_in_warm_room_at=datetime(2027, 2, 6, 20, 0, tzinfo=UTC),  # tomorrow 2 pm
        ready_at=datetime(2027, 2, 8, 20, 0, tzinfo=UTC),
        limits=(LimitView(name="Maximum", c=f(120), origin="common practice, no source"),),
        wanted_at=NOW + 47 * HOUR,
        start_by=NOW + 7 * HOUR,
        made_on=NOW - timedelta(days=60),
        expires_on=NOW + timedelta(days=120),
        content=(("Was cold", "down to 48 °F, 1.5 h in all. This mark stays."),),
        pressure_kpa=4.0,
        pressure=PressureView(
            facts=(("Pressure", "0.6 psi above the air outside, computed."),),
            cautions=("Computed, not measured.",),
        ),
    )
    return replace(plain, **changes)


def shelf(*groups: GroupView, code: str = "north") -> ShelfView:
    past = tuple((to_ms(NOW - HOUR * n / 6), 4.0 + n / 40) for n in range(144, -1, -1))
    ahead = tuple((to_ms(NOW + HOUR * n), 3.0 - n / 4, 2.0 - n / 4, 5.0) for n in range(13))
    return ShelfView(
        place="North shed",
        code=code,
        kind="warehouse",
        kind_words="warehouse, still air",
        site="Pine Street",
        air_c=4.0,
        air_at=NOW - timedelta(minutes=4),
        air_basis="median of 2 sensors",
        air_line=AirLine(past=past, ahead=ahead),
        limit_lines=(LimitView(name="store from", c=10.0, origin="common practice, no source"),),
        night_low=(0.0, NOW + 11 * HOUR),
        day_high=(6.0, NOW + 2 * HOUR),
        doubts=("The door sensor reads 4 °F lower: not used.",),
        groups=groups,
    )


def group(*drums: DrumView, **changes: Any) -> GroupView:
    first = drums[0]
    known = [d for d in drums if d.bottom_c is not None]
    waiting = [(d.soonest_ready_at, d.ready_where) for d in drums if d.soonest_ready_at]
    made = GroupView(
        lot=first.lot,
        product=first.product,
        side=first.side,
        size=len(drums),
        gravest=min(drums, key=lambda d: d.gravity),
        by_readiness=tuple(Counter(d.readiness for d in drums).items()),
        marks=tuple(Counter(words for d in drums for words in drum_marks(d)).items()),
        coldest_c=min((d.bottom_c or 0.0, d.low_c or 0.0, d.high_c or 0.0) for d in known)
        if known
        else None,
        soonest=min(waiting, key=lambda w: w[0]) if waiting else None,
        drums=drums,
    )
    return replace(made, **changes)


def floor(*shelves: ShelfView) -> FloorView:
    task = TaskView(
        alarm_id="92",
        text="Bring 6 iso drums in from the box van before 2:40 am",
        audience="dispatcher",
        priority="high",
        state="unacknowledged",
        since=NOW - 9 * HOUR,
        deadline=NOW + timedelta(minutes=88),
        drums=("K7Q-X4M", "M2T-9RA"),
        place_code="van2",
        can_acknowledge=True,
    )
    return FloorView(
        tasks=(
            task,
            replace(task, alarm_id="93", priority="critical", deadline=None),
            replace(task, alarm_id="94", priority="medium", state="acknowledged"),
        ),
        shelves=shelves or (shelf(group(drum(), drum("M2T-9RA"))), shelf(code="yard")),
        checked_at=NOW,
        oldest_reading_at=NOW - timedelta(minutes=11),
        filter_words="iso of lot 2231",
        filters={"lot": "2231"},
        choices={"lot": (("", "every lot"), ("2231", "lot 2231"))},
        query="lot=2231",
        counts={"too_cold": 2},
    )


SPOT = SpotView(
    place="North shed",
    code="pine/north",
    kind_words="warehouse",
    site="Pine Street",
    timezone="UTC",
    sensors=(
        SensorView(
            name="urn:dev:ow:10e2073a01080063:temp",
            measures="Air",
            mark="…0063",
            drum=None,
            last="61 °F",
            last_at=NOW,
            span=None,
            silent=True,
            doubted=True,
            doubts=(
                DoubtView(words="said 185 °F", over=None),
                DoubtView(words="said 186 °F", over=NOW),
            ),
            line=floor().shelves[0],
            hung_at=NOW - 100 * HOUR,
            calibration="plus 0.4 °F",
            calibrated_at=NOW - 90 * HOUR,
            gateway="pine/attic",
            every="5 min",
            error="0.9 °F",
        ),
        SensorView(
            name="urn:dev:ow:10e2073a01080064:temp",
            measures="Skin of the drum",
            mark="",
            drum="K7Q-X4M",
            last=None,
            last_at=None,
            span="58 to 60 %",
            silent=False,
            doubted=False,
            doubts=(),
            line=None,
            hung_at=NOW,
            calibration="as it is given",
            calibrated_at=None,
            gateway=None,
            every="15 min",
            error="0.9 °F",
        ),
    ),
)


WHY = WhyView(
    tag="K7Q-X4M",
    side="iso",
    lot="2231",
    place="North shed",
    place_code="pine/north",
    output="20 lb a minute and over",
    band="47–56 °F",
    half="4.5 °F",
    best="A dip at the bottom would narrow 47–56 °F most: to about 50–53 °F.",
    parts=(PartView(words="Properties and films", size="4.5 °F", share=100),),
    options=(("A dip at the bottom, 2 in up", "about 50–53 °F."),),
    air="54 °F now.",
    sensors=(
        SensorWhyView(
            measures="Air",
            where="in North shed",
            name="air-1",
            hung_at=NOW - 48 * HOUR,
            last="54 °F",
            last_at=NOW,
            error="0.9 °F",
            silent=True,
            doubted=True,
            doubts=("has said 54 °F without a change for too long",),
        ),
    ),
    stands="The air is still.",
    film="As named.",
    film_since=NOW,
    heater="a heater of 1000 W until 3 am",
    start="Received yesterday.",
    mass="551 lb, as received yesterday",
    measurements=(MeasuredView(at=NOW, what="Liquid, by hand", words="Computed 52 °F."),),
    limits=(("Seeding", "50 °F", "data sheet, page 2"),),
    properties_at=("50 °F", "52 °F", "55 °F"),
    properties=(PropertyRow(name="Viscosity, cP", values=("900", "800", "700"), origin="assumed"),),
    ahead="Air to come: the last day over again.",
    off=(("6 hours ahead", "nine in ten within 4 °F"),),
    computed_at=NOW,
    supported_to=NOW,
    timezone="America/Chicago",
)


def pages(
    change: Callable[[Any], Any] = lambda view: view, *, language: str = "en"
) -> Mapping[str, str]:
    """Render every page in a language, each view passed through ``change`` first."""
    spoken = formats(language=language)
    context: dict[str, Any] = {
        "viewer": change(VIEWER),
        "formats": spoken,
        "nonce": "n0nce",
        "alarm_count": 2,
    }
    alarm = AlarmView(
        id="92",
        kind="Load will sit cold",
        cause="Box van 2",
        state="returned_unacknowledged",
        priority="high",
        audience="dispatcher, manager",
        since=NOW - HOUR,
        message="Six iso drums reach 50 °F",
        drums=("K7Q-X4M", "M2T-9RA"),
        acknowledged_by="Sam Ito",
        acknowledged_at=NOW,
        returned_at=NOW,
        history=(AlarmEntry(at=NOW - HOUR, words="Raised, unacknowledged", by="Sam Ito"),),
        notices=(notice(NOW), notice(NOW, state="waiting", fate="not yet: it refused")),
        can_acknowledge=True,
    )
    event = EventView(
        at=NOW - 3 * HOUR,
        recorded_at=NOW,
        by="Sam Ito",
        kind="note",
        words="Dipped",
        undo="7b1e",
        withdrawn=True,
    )
    actions = tuple(
        ActionView(kind=kind, event_id=f"id-{kind}", cautions=("Mind it.",), choices=(("a", "b"),))
        for kind in ACTION
    )
    verdict = VerdictView(
        drum=drum(),
        phrase="NOT YET",
        reason="61 °F at the bottom.",
        do="Take it to Warm room 1.",
        time=NOW + HOUR,
        nearest_ready=("R8H-3NB", "North shed"),
        may_record=True,
    )
    problem = ProblemView(
        status=422,
        title="Not recorded",
        detail="One thing to put right.",
        faults=(FaultView(name="height", value="48", mend="give 0 to 33"),),
    )
    history = (HistoryRow(at=NOW, air_c=1.0, bottom_c=2.0), HistoryRow(at=NOW, ahead=True))
    whole = change(floor())
    rows = tuple(d for s in whole.shelves for g in s.groups for d in g.drums)
    own: Mapping[str, dict[str, Any]] = {
        "floor.html": {"floor": whole, "page": "floor"},
        "floor_table.html": {
            "floor": whole,
            "rows": rows,
            "total": 450,
            "number": 2,
            "pages": 3,
            "sort": "lot",
            "descending": True,
        },
        "drum.html": {
            "drum": change(drum(conditions=("seeding_risk",))),
            "events": (change(event),),
            "actions": change(actions),
            "history": history,
            "prints": (change(PrintView(at=NOW, by="Rosa", what="Printed (single, 4 × 6 in)")),),
            "ahead": "here",
            "past": "all",
            "papers": change(papers(NOW)),
            "by_hours": True,
            "straps": (
                change(StrapView(sensor="strap-1", on_wall=True, met="Computed 52.3", at=NOW)),
            ),
        },
        "place.html": {
            "place": change(
                PlaceView(
                    place="North shed",
                    code="pine/north",
                    kind_words="warehouse",
                    site="Pine Street",
                )
            ),
            "setting": change(
                SettingView(
                    words="The air is windy; drums stand on the bare floor.",
                    motion="windy",
                    standing="slab",
                    crowding="four",
                    wind="20",
                    sun=True,
                    may_have_sun=True,
                    absorptance="0.25",
                    film_w_m2k=24.0,
                    motions=(("windy", "windy"),),
                    standings=(("slab", "the bare floor"),),
                    crowdings=(("four", "four on a pallet"),),
                )
            ),
            "films": (
                change(FilmView(factor=1.2, low=1.0, high=1.3, words="Learned.", since=NOW)),
                change(FilmView(factor=1.0, low=0.8, high=1.25, words="Named.")),
            ),
            "pinned": False,
            "may_change": True,
            "may_move": True,
        },
        "why.html": {"why": change(WHY)},
        "methods.html": methods_context("us", language),
        "verdict.html": {"verdict": change(verdict)},
        "alarms.html": {
            "alarms": (change(alarm),),
            "checked_at": NOW,
            "unheard": change("Nobody hears of this alarm."),
        },
        "export.html": {
            "sites": (("north", change("North shed")),),
            "first": "2026-01-01",
            "last": "2026-01-31",
            "may_import": True,
            "may_take_all": True,
        },
        "import.html": {
            "given": change({"what": "drums", "do": "check"}),
            "faults": (change("The file is none."),),
            "kept": ("eJwDAAAAAAE=",),
            "columns": {"drums": ("product, lot", "note")},
            "loggers": True,
            "report": SheetReport(
                (
                    RowFate(2, "new", change("K7Q-2M5")),
                    RowFate(3, "refused", faults=(change(Fault("Net", "55 gal", "is", "Mend.")),)),
                ),
                totals=(4,),
                unused=("Colour",),
                stored=False,
            ),
            "rows": (
                RowFate(2, "new", change("K7Q-2M5"), meant={"net mass": Meant(226.8, "kg")}),
                RowFate(3, "refused", faults=(change(Fault("Net", "55 gal", "is", "Mend.")),)),
            ),
            "undrawn": 7,
        },
        "sensors.html": {
            "spots": (change(SPOT),),
            "loose": (change("urn:dev:os:32473-spare:temp"),),
            "devices": DeviceViews(every=(SAYS,), of_gateway={}, beside={}),
            "clocks": (("pine/north", change("Its clock is a year behind.")),),
            "strays": (change(stray(NOW)),),
            "places": (("north/hall", change("Long hall")),),
            "may_change": True,
            "sought": change("hall"),
            "number": 2,
            "pages": 3,
            "before": "/sensors?text=hall&page=1",
            "after": "/sensors?text=hall&page=3",
        },
        **device_pages(change, now=NOW),
        **notice_pages(change, now=NOW),
        **receiving_pages(change, now=NOW),
        **move_pages(change, now=NOW),
        **pull_pages(change, now=NOW, formats=spoken),
        **stock_pages(change, now=NOW),
        **paper_pages(change, now=NOW, formats=spoken),
        **account_pages(change, device=DEVICE, now=NOW),
        "people.html": {
            "people": change((PERSON,)),
            "code": None,
            "faults": (),
            "faulty": "",
            "typed": {"name": "", "display_name": "", "role": "crew", "language": ""},
        },
        "phone.html": {"person": change("Dana"), "secret": "s3cret", "csrf": "c", "viewer": None},
        "own_password.html": {
            "person": change("Dana"),
            "name": "dana",
            "chit": "dana|1.x",
            "next": "/floor",
            "shortest": 10,
            "faults": (),
            "csrf": "c",
            "viewer": None,
        },
        "waiting.html": {
            "titles": change({"dipped": "Dip"}),
            "fields": change({"mass": "weight"}),
            "parts": change({"nitrogen": "nitrogen bottle"}),
            "findings": change({"fine": "fine"}),
            "choices": change({"seen": "seen"}),
            "viewer": None,
        },
        "problem.html": {"problem": change(problem)},
    }
    return {name: render(name, **{**context, **given}) for name, given in own.items()}


NAMES_OF_KINDS = frozenset(
    {
        *(
            "side",
            "readiness",
            "conditions",
            "basis",
            "output_class",
            "kind",
            "phrase",
            "units",
        ),
        *(
            "leads",
            "state",
            "priority",
            "place_kind",
            "back",
            "answer",
            "ended",
            "timezone",
            "by_readiness",
        ),
    }
)
"""Fields that hold one of our own words, not something that a person typed."""


def hostile(view: Any, text: str) -> Any:
    """Put ``text`` in place of everything in a view that a person could have typed."""
    if isinstance(view, str):
        return text
    if isinstance(view, tuple):
        return tuple(hostile(part, text) for part in view)
    if isinstance(view, Mapping):
        return {key: hostile(part, text) for key, part in view.items()}
    if is_dataclass(view) and not isinstance(view, type):
        changed = {
            field.name: hostile(getattr(view, field.name), text)
            for field in fields(view)
            if field.name not in NAMES_OF_KINDS
        }
        return replace(view, **changed)
    return view
