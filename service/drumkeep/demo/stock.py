"""The drums of the demo and what people did with them: only where they stood and when.

How warm the liquid got, what that did to it and which alarms it raised is computed by the service.
"""

from typing import Final

from drumkeep.demo.deeds import Batch, Deed, dipped, heated, moved, used, wanted
from drumkeep.demo.timetable import COLD_ZONE, HOT_ZONE, ago, in_hours, morning, that_night

ISO: Final = "ombrel-a"
CLOSED: Final = "ombrel-b2"
OPEN: Final = "ombrel-b05"

ISO_MARK: Final = "UN 1A1/X1.4/250/26/USA/DW4410"
RESIN_MARK: Final = "UN 1A1/Y1.4/150/26/USA/DW4417"
LIGHT_MARK: Final = "UN 1A1/Y1.2/100/25/USA/DW3902"

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
    Batch("truck-resin", 2, CLOSED, "B4102", "harrow/truck", ago(0.3), 23.5),
    Batch(
        "truck-wrapped",
        1,
        CLOSED,
        "B4102",
        "harrow/truck",
        ago(0.3),
        23.5,
        (heated(0.2, device="blanket", watts=0.0, blanket_r_m2k_w=0.9),),
    ),
    # The warm room: ready, warming, and one in use under dry gas.
    Batch("warm-iso", 3, ISO, "A2217", "harrow/warm-room", ago(70), 22.5, un_mark=ISO_MARK),
    Batch("warm-resin", 3, CLOSED, "B4102", "harrow/warm-room", ago(70), 22.0),
    Batch("warming-iso", 2, ISO, "A2204", "harrow/north-shed", ago(80), 15.0, _TO_THE_WARM_ROOM),
    Batch(
        "warming-resin", 1, CLOSED, "B4119", "harrow/north-shed", ago(80), 15.0, _TO_THE_WARM_ROOM
    ),
    # Warming too, with a sensor in the liquid.
    Batch("strapped-iso", 1, ISO, "A2204", "harrow/north-shed", ago(80), 15.0, _TO_THE_WARM_ROOM),
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
    Batch(
        "job-resin",
        2,
        CLOSED,
        "B4102",
        "harrow/north-shed",
        ago(100),
        17.5,
        (_JOB,),
        un_mark=RESIN_MARK,
    ),
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
    # Two heels of one lot, poured together.
    Batch(
        "poured-iso",
        1,
        ISO,
        "A2204",
        "harrow/north-shed",
        ago(100),
        19.0,
        (
            Deed("opened", ago(30.0)),
            Deed("topped", ago(29.7), fields={"kg": 62.0}, other="heel-iso"),
            Deed("resealed", ago(29.4)),
        ),
        net_kg=120.0,
    ),
    Batch(
        "heel-iso",
        1,
        ISO,
        "A2204",
        "harrow/north-shed",
        ago(60),
        17.0,
        (Deed("opened", ago(30.1)), Deed("resealed", ago(29.3))),
        net_kg=70.0,
    ),
    # Warmed where it stands, with a thermostat.
    Batch(
        "band-iso",
        1,
        ISO,
        "A2204",
        "harrow/north-shed",
        ago(100),
        17.0,
        (heated(7.0, device="band", watts=400.0, height_m=0.2, thermostat_c=23.5),),
    ),
    # Dipped today: the first reading cannot be, the second one is taken.
    Batch(
        "dipped-iso",
        1,
        ISO,
        "A2204",
        "harrow/north-shed",
        ago(100),
        17.0,
        (
            dipped(5.3, off_k=6.0, note="probe came straight from the warm room"),
            dipped(5.0, note="again, after ten minutes in the liquid"),
        ),
    ),
    # A lean-to that nobody heats; its drums were dipped often enough to tell of its air.
    Batch(
        "annex-iso",
        3,
        ISO,
        "A2217",
        "harrow/annex",
        ago(96),
        18.0,
        (dipped(84.0), dipped(72.0, off_k=0.2)),
    ),
    Batch(
        "annex-resin",
        2,
        CLOSED,
        "B4119",
        "harrow/annex",
        ago(96),
        18.0,
        (dipped(83.5), dipped(71.5, off_k=-0.2)),
    ),
    # Taken in from the yard and never dipped: nobody knows.
    Batch("undipped-iso", 1, ISO, "A2217", "harrow/dock", ago(3.0), None, origin="harrow/yard"),
    Batch(
        "undipped-resin", 1, CLOSED, "B4119", "harrow/dock", ago(3.0), None, origin="harrow/yard"
    ),
    # The cool store in the south: ready, nearly out of date, out of date, on hold.
    Batch("cool-iso", 4, ISO, "A2204", "willow/cool-store", ago(90), 23.0, un_mark=ISO_MARK),
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
    # Opened warm, stirred with the bung open and drawn from: agent has left it.
    Batch(
        "gassed-resin",
        1,
        CLOSED,
        "B4102",
        "willow/heat-cabinet",
        ago(75),
        27.0,
        (
            Deed("opened", ago(30.0)),
            Deed("agitated", ago(29.5), fields={"minutes": 240.0}),
            Deed("weighed", ago(23.0), fields={"net_kg": 21.4, "resolution_kg": 0.2}),
            Deed("resealed", ago(22.0)),
        ),
    ),
    # Under a tin roof in a hot spell: pressure rises, and old iso ages faster than its date says.
    Batch("aged-iso", 1, ISO, "A2188", "willow/tin-shed", ago(100), 24.0),
    Batch("tin-resin", 3, CLOSED, "B4102", "willow/tin-shed", ago(85), 23.0),
    Batch(
        "tin-full",
        1,
        CLOSED,
        "B4102",
        "willow/tin-shed",
        ago(85),
        23.0,
        net_kg=238.0,
        un_mark=LIGHT_MARK,
    ),
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
    # In the open, in the sun.
    Batch("sunny-iso", 2, ISO, "A2217", "willow/gravel-yard", ago(45), 24.0),
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


def batch_of(key: str | None) -> Batch:
    """Return the batch that bears a name within the demo."""
    return next(batch for batch in BATCHES if batch.key == key)
