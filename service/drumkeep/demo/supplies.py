"""What the invented company pays, keeps beside its drums, and looks at every week."""

from typing import Any, Final

from drumkeep.demo.timetable import When, ago

PRICES: Final[tuple[dict[str, Any], ...]] = (
    {"product": "ombrel-a", "lot": None, "amount": 1.72, "per": "lb"},
    {"product": "ombrel-b2", "lot": None, "amount": 2.38, "per": "lb"},
    # one lot came at another price; of open-cell resin nobody has said any
    {"product": "ombrel-a", "lot": "A2204", "amount": 925.0, "per": "drum"},
)

CONSUMABLES: Final[tuple[tuple[dict[str, Any], float], ...]] = (
    (
        {
            "place": "willow/rig",
            "kind": "nitrogen",
            "name": "Bottles, 230 cu ft",
            "unit": "bottles",
            "minimum": 2.0,
        },
        1.0,
    ),
    (
        {
            "place": "willow/rig",
            "kind": "desiccant",
            "name": "Breather cartridges",
            "unit": "pieces",
            "minimum": 2.0,
        },
        4.0,
    ),
    (
        {
            "place": "harrow/north-shed",
            "kind": "pump_lubricant",
            "name": "Pump lubricant",
            "unit": "qt",
            "minimum": 3.0,
        },
        6.0,
    ),
)
"""Each with how much of it was counted."""

CHECKED: Final[When] = ago(70.0)
"""When the rig was looked over."""

CHECKS: Final[tuple[dict[str, Any], ...]] = (
    {"part": "lubricant", "finding": "changed", "note": "amber, no gel"},
    {"part": "packing_nut", "finding": "fine"},
    {"part": "desiccant", "finding": "fine"},
    {"part": "nitrogen", "finding": "fine", "pressure_kpa": 9650.0},
)
