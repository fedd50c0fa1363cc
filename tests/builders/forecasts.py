"""Bodies of what-if forecasts, and bad ones with the field that an answer must name."""

from typing import Any, Final

Body = dict[str, Any]

NAN: Final = float("nan")


def asked(**changes: Any) -> Body:
    """Return a body that can be computed; arguments replace or add fields, None leaves one out."""
    body = {"side": "iso", "start_c": 21.0, "air_c": -7.0, "hours": 2.0} | changes
    return {name: value for name, value in body.items() if value is not None}


FILMS: Final = {"side_w_m2k": 8, "top_w_m2k": 2.8, "bottom_w_m2k": 3}

# What is wrong, the body, and the fields that are named, in order.
BAD: Final[dict[str, tuple[Any, list[str]]]] = {
    "no side": (asked(side=None), ["side"]),
    "a side of another name": (asked(side="A"), ["side"]),
    "no air": (asked(air_c=None), ["air_c"]),
    "air as text": (asked(air_c="-7"), ["air_c"]),
    "air as true": (asked(air_c=True), ["air_c"]),
    "air as an object": (asked(air_c={"h": 0, "c": 1}), ["air_c"]),
    "air beyond any weather": (asked(air_c=151), ["air_c"]),
    "air not a number": (asked(air_c=NAN), ["air_c"]),
    "air without points": (asked(air_c=[]), ["air_c"]),
    "a point without its hour": (asked(air_c=[{"c": 4}]), ["air_c.0.h"]),
    "a point's hour as text": (
        asked(air_c=[{"h": 0, "c": 4}, {"h": 1, "c": 4}, {"h": 2, "c": 4}, {"h": "3", "c": 4}]),
        ["air_c.3.h"],
    ),
    "a point before the start": (asked(air_c=[{"h": -1, "c": 4}]), ["air_c.0.h"]),
    "a point with something else": (asked(air_c=[{"h": 0, "c": 4, "k": 1}]), ["air_c.0.k"]),
    "points out of order": (
        asked(air_c=[{"h": 0, "c": 4}, {"h": 6, "c": 4}, {"h": 6, "c": 5}]),
        ["air_c.2.h"],
    ),
    "no start": (asked(start_c=None), ["start_c"]),
    "two starts": (asked(layers_c=[1, 2, 3, 4, 5, 6, 7, 8]), ["layers_c"]),
    "seven layers": (asked(start_c=None, layers_c=[1, 2, 3, 4, 5, 6, 7]), ["layers_c"]),
    "a layer as text": (
        asked(start_c=None, layers_c=[1, 2, 3, 4, 5, 6, 7, "8"]),
        ["layers_c.7"],
    ),
    "a start in Fahrenheit": (asked(start_c=212), ["start_c"]),
    "films and a setting": (asked(exposure=FILMS, setting={"motion": "fan"}), ["setting"]),
    "two starts, films and a setting": (
        asked(layers_c=[1, 2, 3, 4, 5, 6, 7, 8], exposure=FILMS, setting={}),
        ["layers_c", "setting"],
    ),
    "a film of nothing": (asked(exposure=FILMS | {"top_w_m2k": 0}), ["exposure.top_w_m2k"]),
    "a film left out": (asked(exposure={"side_w_m2k": 8}), ["exposure.top_w_m2k"]),
    "a motion of another name": (asked(setting={"motion": "breeze"}), ["setting.motion"]),
    "more than the whole side": (asked(setting={"share": 1.5}), ["setting.share"]),
    "a flow of another name": (asked(flow="turbulent"), ["flow"]),
    "a wind of no strength": (
        asked(setting={"motion": "windy", "wind_m_s": 0}),
        ["setting.wind_m_s"],
    ),
    "a wind in still air": (
        asked(setting={"motion": "still", "wind_m_s": 3}),
        ["setting.wind_m_s"],
    ),
    "a share twice": (asked(setting={"crowding": "four", "share": 0.6}), ["setting.share"]),
    "a crowd of another name": (asked(setting={"crowding": "many"}), ["setting.crowding"]),
    "a blanket of less than nothing": (
        asked(setting={"blanket_r_m2k_w": -1}),
        ["setting.blanket_r_m2k_w"],
    ),
    "sun as text": (asked(setting={"sun_w_m2": "bright"}), ["setting.sun_w_m2"]),
    "more sun than there is": (asked(setting={"sun_w_m2": 2000}), ["setting.sun_w_m2"]),
    "a sun's hour as text": (
        asked(setting={"sun_w_m2": [{"h": 0, "w_m2": 4}, {"h": "1", "w_m2": 4}]}),
        ["setting.sun_w_m2.1.h"],
    ),
    "sun out of order": (
        asked(setting={"sun_w_m2": [{"h": 1, "w_m2": 4}, {"h": 0, "w_m2": 4}]}),
        ["setting.sun_w_m2.1.h"],
    ),
    "a paint that is a mirror": (asked(setting={"absorptance": 0}), ["setting.absorptance"]),
    "a drum too heavy for any liquid": (asked(net_kg=500), ["net_kg"]),
    "more than goes into a drum": (asked(net_kg=280), ["net_kg"]),
    "a usual drum of so light a liquid": (asked(properties={"density_kg_m3": 800}), ["net_kg"]),
    "a property out of range": (
        asked(properties={"specific_heat_j_kgk": 1.8}),
        ["properties.specific_heat_j_kgk"],
    ),
    "a property of another name": (asked(properties={"colour": 1}), ["properties.colour"]),
    "no hours": (asked(hours=0), ["hours"]),
    "hours of a year": (asked(hours=8760), ["hours"]),
    "a step longer than all": (asked(step_h=3), ["step_h"]),
    "a step of seconds": (asked(step_h=0.01), ["step_h"]),
    "too many points": (asked(hours=744, step_h=0.1), ["step_h"]),
    "twenty-one targets": (asked(targets_c=[10.0] * 21), ["targets_c"]),
    "a target as text": (asked(targets_c=[10.0, "ten"]), ["targets_c.1"]),
    "a number past all bounds": (asked(air_c=10**400), ["air_c"]),
    "a field of another name": (asked(air=1), ["air"]),
    "a field named as where a request keeps things": (asked(query=1), ["query"]),
    "a list": ([1], [""]),
    "nothing": (None, [""]),
}
