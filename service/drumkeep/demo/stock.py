"""The drums of the demo and what people did with them: only where they stood and when.

How warm the liquid got, what that did to it and which alarms it raised is computed by the service.
"""

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Any, Final

from drumkeep.demo.timetable import (
    COLD_ZONE,
    HOT_ZONE,
    When,
    ago,
    in_hours,
    morning,
    that_night,
)

ISO: Final = "ombrel-a"
CLOSED: Final = "ombrel-b2"
OPEN: Final = "ombrel-b05"


@dataclass(frozen=True)
class Deed:
    """Something that was done with a drum: the kind of event, when, by whom, and its fields."""

    kind: str
    at: When
    by: str = "crew"
    fields: Mapping[str, Any] = field(default_factory=dict)
    note: str | None = None


@dataclass(frozen=True)
class Batch:
    """Drums that were received and treated alike.

    Attributes
    ----------
    key
        Names them within the demo; the UUIDs of their events are made from it.
    origin
        Where they came from.
    liquid_c
        What a dip said on receipt; None if nobody dipped.
    net_kg
        What was in them; what the product's drums hold if None.
    """

    key: str
    count: int
    product: str
    lot: str
    place: str
    at: When
    liquid_c: float | None
    deeds: tuple[Deed, ...] = ()
    net_kg: float | None = None
    origin: str | None = None


def moved(to: str, at: When) -> Deed:
    """Give the move of a drum."""
    return Deed("moved", at, by="dispatcher", fields={"to": to})


def wanted(at: When) -> Deed:
    """Give the wish to have a drum ready."""
    return Deed("wanted", at, by="dispatcher")


def used(hours: float, **kg: float) -> tuple[Deed, ...]:
    """Give what a use so many hours ago leaves on record: opened, drawn from, weighed, resealed."""
    return (
        Deed("opened", ago(hours)),
        Deed("weighed", ago(hours - 0.6), fields={**kg, "resolution_kg": 0.2}),
        Deed("resealed", ago(hours - 0.7)),
    )


_IN_THE_VAN: Final = (moved("harrow/dock", that_night(6)),)
_TO_THE_WARM_ROOM: Final = (moved("harrow/warm-room", ago(9.0)),)
_JOB: Final = wanted(morning(after_hours=32, zone=COLD_ZONE))
_NEXT_JOB: Final = wanted(in_hours(25))

BATCHES: Final = (
    # Delivered warm, left in a van in the coldest night, brought in at six.
    Batch("van-iso", 5, ISO, "A2231", "harrow/box-van", that_night(1), 24.0, _IN_THE_VAN),
    Batch(
        "van-part",
        1,
        ISO,
        "A2231",
        "harrow/box-van",
        that_night(1),
        24.0,
        _IN_THE_VAN,
        net_kg=110.0,
    ),
    Batch("van-resin", 2, CLOSED, "B4119", "harrow/box-van", that_night(1), 24.0, _IN_THE_VAN),
    # Fetched from the supplier just now, and left standing outside.
    Batch("truck-iso", 4, ISO, "A2217", "harrow/truck", ago(0.3), 23.5),
    Batch("truck-resin", 3, CLOSED, "B4102", "harrow/truck", ago(0.3), 23.5),
    # The warm room: ready, warming, and one in use under dry gas.
    Batch("warm-iso", 3, ISO, "A2217", "harrow/warm-room", ago(70), 22.5),
    Batch("warm-resin", 3, CLOSED, "B4102", "harrow/warm-room", ago(70), 22.0),
    Batch("warming-iso", 2, ISO, "A2204", "harrow/north-shed", ago(80), 15.0, _TO_THE_WARM_ROOM),
    Batch(
        "warming-resin", 1, CLOSED, "B4119", "harrow/north-shed", ago(80), 15.0, _TO_THE_WARM_ROOM
    ),
    Batch(
        "open-iso",
        1,
        ISO,
        "A2204",
        "harrow/warm-room",
        ago(72),
        21.5,
        (
            Deed("opened", ago(20.0)),
            Deed(
                "blanketed",
                ago(19.9),
                fields={"gas": "nitrogen", "kpa": 14.0, "regulator": True},
            ),
            Deed("weighed", ago(18.0), fields={"gross_kg": 114.5, "resolution_kg": 0.2}),
        ),
    ),
    # The shed: what is in stock, what jobs want, what came back from them.
    Batch("shed-iso", 3, ISO, "A2204", "harrow/north-shed", ago(100), 17.0),
    Batch("shed-resin", 3, CLOSED, "B4102", "harrow/north-shed", ago(100), 17.5),
    Batch("job-iso", 2, ISO, "A2204", "harrow/north-shed", ago(100), 17.0, (_JOB,)),
    Batch("job-resin", 2, CLOSED, "B4102", "harrow/north-shed", ago(100), 17.5, (_JOB,)),
    Batch("next-iso", 1, ISO, "A2204", "harrow/north-shed", ago(100), 17.0, (_NEXT_JOB,)),
    Batch("next-resin", 1, CLOSED, "B4102", "harrow/north-shed", ago(100), 17.5, (_NEXT_JOB,)),
    Batch(
        "shed-iso-part",
        1,
        ISO,
        "A2217",
        "harrow/north-shed",
        ago(100),
        19.0,
        used(44.0, gross_kg=159.4),
    ),
    Batch(
        "shed-resin-part",
        1,
        CLOSED,
        "B4119",
        "harrow/north-shed",
        ago(100),
        19.0,
        used(44.0, net_kg=88.2),
    ),
    # A lean-to that nobody heats.
    Batch("annex-iso", 3, ISO, "A2217", "harrow/annex", ago(96), 18.0),
    Batch("annex-resin", 2, CLOSED, "B4119", "harrow/annex", ago(96), 18.0),
    # Taken in from the yard and never dipped: nobody knows.
    Batch("undipped-iso", 1, ISO, "A2217", "harrow/dock", ago(3.0), None, origin="harrow/yard"),
    Batch(
        "undipped-resin", 1, CLOSED, "B4119", "harrow/dock", ago(3.0), None, origin="harrow/yard"
    ),
    # The cool store in the south: ready, nearly out of date, out of date, on hold.
    Batch("cool-iso", 4, ISO, "A2204", "willow/cool-store", ago(90), 23.0),
    Batch(
        "cool-iso-part",
        1,
        ISO,
        "A2217",
        "willow/cool-store",
        ago(90),
        23.0,
        used(30.0, gross_kg=201.7),
    ),
    Batch("old-resin", 3, CLOSED, "B4088", "willow/cool-store", ago(90), 23.0),
    Batch("expired-resin", 2, CLOSED, "B4075", "willow/cool-store", ago(90), 23.0),
    Batch(
        "held-resin",
        1,
        CLOSED,
        "B4102",
        "willow/cool-store",
        ago(90),
        23.0,
        (
            Deed(
                "held",
                ago(27.0),
                by="manager",
                fields={"reason": "label torn off, the lot is to be confirmed"},
            ),
        ),
    ),
    Batch(
        "cool-open",
        2,
        OPEN,
        "C0744",
        "willow/cool-store",
        ago(90),
        23.0,
        (wanted(morning(after_hours=32, zone=HOT_ZONE)),),
    ),
    # Open cell is used warm and agitated first.
    Batch(
        "stirred-open",
        2,
        OPEN,
        "C0731",
        "willow/heat-cabinet",
        ago(75),
        27.0,
        (Deed("agitated", ago(2.0), fields={"minutes": 30.0}, note="small bung vented"),),
    ),
    Batch("still-open", 1, OPEN, "C0744", "willow/heat-cabinet", ago(75), 27.0),
    # Under a tin roof in a hot spell.
    Batch("tin-resin", 3, CLOSED, "B4102", "willow/tin-shed", ago(85), 23.0),
    Batch("tin-full", 1, CLOSED, "B4102", "willow/tin-shed", ago(85), 23.0, net_kg=238.0),
    Batch("tin-iso", 1, ISO, "A2217", "willow/tin-shed", ago(85), 23.0),
    Batch(
        "crew-resin",
        2,
        CLOSED,
        "B4119",
        "willow/cool-store",
        ago(60),
        23.0,
        (moved("willow/crew-van", ago(26.0)),),
    ),
    Batch(
        "crew-iso",
        1,
        ISO,
        "A2217",
        "willow/cool-store",
        ago(60),
        23.0,
        (moved("willow/crew-van", ago(26.0)),),
    ),
    # The rig, whose sensor went silent.
    Batch("rig-iso", 1, ISO, "A2204", "willow/rig", ago(50), 25.0, used(28.0, net_kg=131.0)),
    Batch(
        "rig-resin",
        1,
        CLOSED,
        "B4102",
        "willow/rig",
        ago(50),
        25.0,
        used(28.0, net_kg=118.0),
    ),
)
