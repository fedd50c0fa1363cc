"""The invented company: its sites, places, products, lots, gateways and sensors.

Names, lots and device numbers are made up. What a sensor reads follows from the outdoor air of its
site (``climate``); nothing here knows what becomes of a drum.
"""

from dataclasses import dataclass
from typing import Any, Final

from drumkeep.demo.climate import Curve, beside, damp_in, held, lagging, open_air
from drumkeep.demo.timetable import COLD_ZONE, HOT_ZONE, When, ago

COLD: Final = "harrow"
HOT: Final = "willow"

SITES: Final[tuple[dict[str, Any], ...]] = (
    {"code": COLD, "name": "Harrow Bend", "timezone": COLD_ZONE, "altitude_m": 273.0},
    {"code": HOT, "name": "Dry Willow", "timezone": HOT_ZONE, "altitude_m": 210.0},
)

PLACES: Final[tuple[dict[str, Any], ...]] = (
    {"site": COLD, "code": "north-shed", "name": "North shed", "kind": "warehouse"},
    {
        "site": COLD,
        "code": "warm-room",
        "name": "Warm room",
        "kind": "warm_room",
        "inside": "harrow/north-shed",
        "set_point_c": 27.0,
        "capacity": 16,
    },
    {"site": COLD, "code": "dock", "name": "Dock", "kind": "dock", "inside": "harrow/north-shed"},
    {"site": COLD, "code": "annex", "name": "Annex", "kind": "warehouse"},
    {"site": COLD, "code": "yard", "name": "Yard", "kind": "yard"},
    {"site": COLD, "code": "box-van", "name": "Box van", "kind": "vehicle"},
    {"site": COLD, "code": "truck", "name": "Straight truck", "kind": "vehicle"},
    {"site": HOT, "code": "cool-store", "name": "Cool store", "kind": "warehouse"},
    {
        "site": HOT,
        "code": "heat-cabinet",
        "name": "Heat cabinet",
        "kind": "warm_room",
        "inside": "willow/cool-store",
        "set_point_c": 29.5,
        "capacity": 4,
    },
    {"site": HOT, "code": "tin-shed", "name": "Tin shed", "kind": "warehouse"},
    {"site": HOT, "code": "crew-van", "name": "Crew van", "kind": "vehicle"},
    {"site": HOT, "code": "rig", "name": "Rig 2", "kind": "rig"},
    {
        "site": HOT,
        "code": "gravel-yard",
        "name": "Gravel yard",
        "kind": "yard",
        "sun": True,
        "wind_m_s": 3.0,
    },
)

FILMS: Final[dict[str, dict[str, float]]] = {
    # As if somebody had logged a drum of water as it warmed.
    "harrow/warm-room": {"factor": 1.1, "half_range": 1.15},
}
"""Films that the manager pins, by place."""

_SHEET: Final = "invented data sheet of the demo"

PRODUCTS: Final[tuple[dict[str, Any], ...]] = (
    {"code": "ombrel-a", "name": "Ombrel A", "side": "iso", "system": "Ombrel"},
    {
        "code": "ombrel-b2",
        "name": "Ombrel B 2.0 closed cell",
        "side": "resin",
        "cell": "closed",
        "system": "Ombrel",
        "properties": {
            "viscosity_points": [[5.0, 4600.0], [15.0, 1950.0], [25.0, 880.0], [40.0, 330.0]]
        },
        "origins": {"viscosity_points": _SHEET},
    },
    {
        "code": "ombrel-b05",
        "name": "Ombrel B 0.5 open cell",
        "side": "resin",
        "cell": "open",
        "system": "Ombrel",
        # Blown by water: there is no agent to lose at 75 °F.
        "limits": {"gassing_c": 37.8},
        "origins": {"gassing_c": _SHEET},
    },
)

LOTS: Final[tuple[tuple[str, str, int], ...]] = (
    ("ombrel-a", "A2188", 178),
    ("ombrel-a", "A2204", 60),
    ("ombrel-a", "A2217", 30),
    ("ombrel-a", "A2231", 12),
    ("ombrel-b2", "B4075", 186),
    ("ombrel-b2", "B4088", 165),
    ("ombrel-b2", "B4102", 50),
    ("ombrel-b2", "B4119", 15),
    ("ombrel-b05", "C0731", 40),
    ("ombrel-b05", "C0744", 9),
)
"""Product, lot, and how many days before the first start it was made."""


@dataclass(frozen=True)
class Gateway:
    """What publishes; one process each."""

    site: str
    code: str
    urn: str


GATEWAYS: Final = (
    Gateway(COLD, "shed", "urn:dev:mac:02d0c0fffe000001"),
    Gateway(COLD, "box-van", "urn:dev:mac:02d0c0fffe000002"),
    Gateway(COLD, "truck", "urn:dev:mac:02d0c0fffe000003"),
    Gateway(HOT, "store", "urn:dev:mac:02d0c0fffe000004"),
    Gateway(HOT, "crew-van", "urn:dev:mac:02d0c0fffe000005"),
    Gateway(HOT, "rig", "urn:dev:mac:02d0c0fffe000006"),
)


@dataclass(frozen=True)
class Sensor:
    """A sensor, where it hangs, and what it reads.

    Attributes
    ----------
    place, drum
        One of the two: its place, or the batch to whose first drum it is fixed.
    curve
        What it reads at a place; in a drum it reads the liquid (``probe``).
    since
        When it was hung up; before the first reading if None.
    silent_from, stuck_from
        When it stops to measure, and when it begins to say the same for ever.
    loose_wire
        Whether it starts anew every now and then, and says so with a reading that cannot be.
    """

    number: str
    gateway: str
    place: str | None = None
    curve: Curve | None = None
    what: str = "air"
    drum: str | None = None
    height_m: float | None = None
    since: When | None = None
    silent_from: When | None = None
    stuck_from: When | None = None
    loose_wire: bool = False

    @property
    def quantity(self) -> str:
        """Temperature or humidity."""
        return "humidity" if self.what == "humidity" else "temperature"

    @property
    def unit(self) -> str:
        """The SenML unit."""
        return "%RH" if self.what == "humidity" else "Cel"

    @property
    def name(self) -> str:
        """The SenML name."""
        return f"urn:dev:ow:{self.number}:{'rh' if self.what == 'humidity' else 'temp'}"


SHED_C: Final = 16.0

_DOCK: Final = beside(heated_c=SHED_C, share=0.88, hours=1.0)
_STORE: Final = held(23.0, ripple_k=0.3, minutes=50, leak=0.03)

SENSORS: Final = (
    Sensor(
        "28d0c00000000111",
        "harrow/shed",
        "harrow/north-shed",
        held(SHED_C, ripple_k=0.4, minutes=70, leak=0.06),
    ),
    Sensor(
        "28d0c00000000112",
        "harrow/shed",
        "harrow/north-shed",
        held(SHED_C, ripple_k=0.6, minutes=70, leak=0.10),
    ),
    Sensor(
        "28d0c00000000113",
        "harrow/shed",
        "harrow/north-shed",
        held(SHED_C, ripple_k=0.5, minutes=70, leak=0.08),
        stuck_from=ago(38.0),
    ),
    Sensor(
        "28d0c00000000121", "harrow/shed", "harrow/warm-room", held(27.0, ripple_k=0.5, minutes=45)
    ),
    Sensor(
        "28d0c00000000122",
        "harrow/shed",
        what="liquid",
        drum="strapped-iso",
        height_m=0.4,
        since=ago(8.8),
    ),
    Sensor("28d0c00000000131", "harrow/shed", "harrow/dock", _DOCK),
    Sensor(
        "28d0c00000000132", "harrow/shed", "harrow/dock", damp_in(_DOCK, added_hpa=2.0), "humidity"
    ),
    # A lean-to on the shed's wall, which warms it less than enough.
    Sensor(
        "28d0c00000000141",
        "harrow/shed",
        "harrow/annex",
        beside(heated_c=SHED_C, share=0.82, hours=8.0),
    ),
    Sensor("28d0c00000000151", "harrow/shed", "harrow/yard", open_air()),
    Sensor("28d0c00000000161", "harrow/box-van", "harrow/box-van", open_air(plus_k=4.0)),
    # An insulated box with a small heater that does not keep up.
    Sensor("28d0c00000000171", "harrow/truck", "harrow/truck", lagging(hours=6.0, plus_k=12.0)),
    Sensor("28d0c00000000211", "willow/store", "willow/cool-store", _STORE),
    Sensor(
        "28d0c00000000212",
        "willow/store",
        "willow/cool-store",
        damp_in(_STORE, added_hpa=-10.0),
        "humidity",
    ),
    Sensor(
        "28d0c00000000213",
        "willow/store",
        "willow/cool-store",
        held(23.2, ripple_k=0.4, minutes=50, leak=0.04),
        loose_wire=True,
    ),
    Sensor(
        "28d0c00000000221",
        "willow/store",
        "willow/heat-cabinet",
        held(29.5, ripple_k=0.4, minutes=40),
    ),
    # Sun on thin metal.
    Sensor("28d0c00000000231", "willow/store", "willow/tin-shed", lagging(hours=2.0, plus_k=3.0)),
    Sensor("28d0c00000000232", "willow/store", "willow/gravel-yard", open_air()),
    Sensor("28d0c00000000241", "willow/crew-van", "willow/crew-van", open_air(plus_k=4.0)),
    Sensor(
        "28d0c00000000251",
        "willow/rig",
        "willow/rig",
        lagging(hours=1.5, plus_k=1.0),
        silent_from=ago(5.0),
    ),
)
INTERVAL_S: Final = 60
ERROR_K: Final = 0.5
