"""The figures of the methods page, drawn from what computes every drum, in the viewer's units."""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import UTC, datetime
from functools import lru_cache
from math import ceil, floor
from typing import Final

import numpy as np
from numpy.typing import NDArray

from drumkeep.domain import worked
from drumkeep.domain.forecasts import Forecast
from drumkeep.domain.liquid_pressure import pressure_inputs
from drumkeep.domain.products import Cell, Product, Side, default_product
from drumkeep.domain.quantities import PSI_KPA, celsius_from_fahrenheit
from drumkeep.thermal.stratified import EIGHTHS
from drumkeep.thermal.vapour import AGENTS
from drumkeep.web.formats import Formats
from drumkeep.web.plot import Area, Curve, Plot, Stroke, table
from drumkeep.web.view_models import Units
from drumkeep.web.wording import MOTION

Floats = NDArray[np.float64]

PRODUCTS: Final[dict[str, Product]] = {
    "iso": default_product(Side.ISO),
    "resin, closed cell": default_product(Side.RESIN),
    "resin, open cell": default_product(Side.RESIN, Cell.OPEN),
}
MOTIONS: Final = ("still", "fan", "windy")
AGENTS_DRAWN: Final = ("HFC-245fa", "HCFO-1233zd(E)", "HFO-1336mzz(Z)", "cyclopentane")

DIFFERENCES_K: Final = np.linspace(0.5, 40.0, 80)
VISCOSITY_C: Final = np.linspace(0.0, 35.0, 71)
VAPOUR_C: Final = np.linspace(-20.0, 60.0, 81)

_WIDE_K: Final = 40.0
_NOWHEN: Final = datetime(2000, 1, 1, tzinfo=UTC)
_TABLE_HOURS: Final = (0, 2, 4, 6, 9, 12, 18, 24)


@dataclass(frozen=True, slots=True, kw_only=True)
class MethodPlots:
    """The figures, by what they show."""

    cooling: Plot
    warming: Plot
    films: Plot
    viscosity: Plot
    dip: Plot
    agents: Plot


@lru_cache(maxsize=4)
def method_plots(units: Units, language: str) -> MethodPlots:
    """Compute the figures once for each kind of units: nothing in them hangs on who looks when."""
    formats = Formats(units=units, timezone=UTC, now=_NOWHEN, language=language)
    cold, warm = (formats.temp(c) for c in (worked.YARD_C, worked.ROOM_C))
    return MethodPlots(
        cooling=_stands(
            worked.cooling(),
            key="cooling",
            title=f"Iso at {formats.temp(worked.WARM_C)} put into still air of {cold}",
            formats=formats,
        ),
        warming=_stands(
            worked.warming(),
            key="warming",
            title=f"Iso at {formats.temp(worked.COLD_C)} put into a warm room of {warm} with a fan",
            formats=formats,
        ),
        films=_films(formats),
        viscosity=_viscosity(formats),
        dip=_dip(formats),
        agents=_agents(formats),
    )


def _stands(course: Forecast, *, key: str, title: str, formats: Formats) -> Plot:
    hours = np.array(course.h)
    layers = np.array(course.layers_c).T
    names = {0: "bottom", EIGHTHS - 1: "top"}
    strokes: dict[int, Stroke] = {0: "bold", EIGHTHS - 1: "plain"}
    rows = [course.h.index(hour) for hour in _TABLE_HOURS]
    told = (course.bottom_c, course.mean_c, course.top_c, course.low_c, course.high_c)
    return Plot(
        key=key,
        title=title,
        x_name="hours",
        y_name=formats.temp_unit,
        curves=tuple(
            Curve(
                name=names.get(j, ""),
                x=hours,
                y=layer,
                stroke=strokes.get(j, "hair"),
                name_at=0.3,
                below=j == 0,
            )
            for j, layer in enumerate(layers)
        ),
        ticks=_hours(int(worked.HOURS), every=6),
        lines=_degrees([float(layers.min()), float(layers.max())], formats=formats),
        numbers=table(
            ("Hours", "Bottom", "Mean", "Top", "Low", "High"),
            [
                [f"{course.h[i]:g}" for i in rows],
                *([formats.to_tenths(values[i]) for i in rows] for values in told),
            ],
        ),
    )


def _films(formats: Formats) -> Plot:
    films = worked.side_films(DIFFERENCES_K, motions=MOTIONS)
    per_degree = 1.8 if formats.units == "us" else 1.0
    last = DIFFERENCES_K[-1] * per_degree
    every = 20 if formats.units == "us" else 10
    rows = [int(np.abs(DIFFERENCES_K - k).argmin()) for k in (1.0, 5.0, 10.0, 20.0, 40.0)]
    return Plot(
        key="films",
        title=f"Film of a bare side, by how much colder it is than air of "
        f"{formats.temp(worked.FILM_AIR_C)}",
        x_name=f"{formats.temp_unit} colder than the air",
        y_name="W/(m² K)",
        curves=tuple(
            Curve(
                name=MOTION[motion].split(" as ")[0].rstrip(","),
                x=DIFFERENCES_K,
                y=films[motion],
                stroke=stroke,
                name_at=0.6,
            )
            for motion, stroke in zip(MOTIONS, _STROKES, strict=False)
        ),
        ticks=tuple((n / per_degree, f"{n}") for n in range(0, int(last) + 1, every)),
        lines=tuple((float(h), f"{h}") for h in range(0, 31, 10)),
        numbers=table(
            ("Colder by", *(MOTION[motion] for motion in MOTIONS)),
            [
                [formats.fine_difference(DIFFERENCES_K[i]) for i in rows],
                *([f"{films[motion][i]:.1f}" for i in rows] for motion in MOTIONS),
            ],
        ),
    )


_STROKES: Final[tuple[Stroke, ...]] = ("bold", "plain", "dashed", "dotted", "hair")


def _viscosity(formats: Formats) -> Plot:
    thick = {n: 1e3 * v for n, v in worked.viscosities(VISCOSITY_C, products=PRODUCTS).items()}
    rows = range(0, len(VISCOSITY_C), 10)
    return Plot(
        key="viscosity",
        title="Viscosity of products that state none, centipoise (mPa s)",
        x_name=formats.temp_unit,
        y_name="cP",
        curves=tuple(
            Curve(name=name, x=VISCOSITY_C, y=values, stroke=stroke, name_at=at, below=below)
            for (name, values), stroke, at, below in zip(
                thick.items(),
                _STROKES,
                (0.45, 0.4, 0.7),
                (True, False, False),
                strict=False,
            )
        ),
        ticks=_degrees(VISCOSITY_C, formats=formats, unit=False),
        lines=tuple((10.0**n, f"{10**n:,} cP".replace(",", " ")) for n in (2, 3, 4)),
        steep=True,
        numbers=table(
            ("At", *thick),
            [
                [formats.temp(float(VISCOSITY_C[i])) for i in rows],
                *([f"{values[i]:.0f}" for i in rows] for values in thick.values()),
            ],
        ),
    )


def _dip(formats: Formats) -> Plot:
    seen = worked.dip()
    ends = [float(v) for v in (seen.low_c.min(), seen.high_c.max())]
    edge = [(seen.low_c, "without a dip"), (seen.high_c, "")]
    hours = range(0, worked.DIP_HOURS + 1, 2)

    def width(low: Floats, high: Floats, h: Floats, hour: int) -> str:
        at = np.flatnonzero(h == hour)
        return formats.fine_difference(float((high - low)[at[0]])) if len(at) else "as without"

    found, computed = formats.to_tenths(seen.measured_c), formats.to_tenths(seen.computed_c)
    return Plot(
        key="dip",
        title=f"Band of the bottom of iso put into {formats.temp(worked.SHED_C)}: after "
        f"{worked.DIP_AFTER_H} hours a dip finds {found} where {computed} was computed",
        x_name="hours",
        y_name=formats.temp_unit,
        curves=(
            *(
                Curve(name=name, x=seen.h, y=y, stroke="dashed", name_at=0.85, below=True)
                for y, name in edge
            ),
            Curve(
                name="with it",
                x=seen.after_h,
                y=seen.after_high_c,
                stroke="plain",
                name_at=0.0,
            ),
            Curve(name="", x=seen.after_h, y=seen.after_low_c, stroke="plain"),
        ),
        areas=(Area(x=seen.after_h, low=seen.after_low_c, high=seen.after_high_c),),
        ticks=_hours(worked.DIP_HOURS, every=3),
        lines=_degrees(ends, formats=formats),
        numbers=table(
            ("Hours", "Band without a dip", "Band with it"),
            [
                [f"{hour}" for hour in hours],
                [width(seen.low_c, seen.high_c, seen.h, hour) for hour in hours],
                [width(seen.after_low_c, seen.after_high_c, seen.after_h, hour) for hour in hours],
            ],
        ),
    )


def _agents(formats: Formats) -> Plot:
    pure = {
        name: np.array([AGENTS[name].pressure_kpa(float(c)) for c in VAPOUR_C])
        for name in AGENTS_DRAWN
    }
    resin = PRODUCTS["resin, closed cell"]
    blend = pressure_inputs([resin]).agent_kpa(VAPOUR_C)
    all_of = {f"{resin.properties.agent} over resin": blend, **pure}
    unit = PSI_KPA if formats.units == "us" else 1.0
    rows = range(0, len(VAPOUR_C), 10)
    return Plot(
        key="agents",
        title=f"Vapour pressure of blowing agents, {formats.pressure_unit} absolute",
        x_name=formats.temp_unit,
        y_name=f"{formats.pressure_unit} absolute",
        curves=tuple(
            Curve(name=name, x=VAPOUR_C, y=values, stroke=stroke, name_at=at, below=below)
            for (name, values), stroke, at, below in zip(
                all_of.items(),
                _STROKES,
                (0.5, 0.3, 0.62, 0.3, 0.72),
                (True, False, True, True, True),
                strict=True,
            )
        ),
        ticks=_degrees(VAPOUR_C, formats=formats, unit=False),
        lines=tuple(
            (n * unit, f"{n} {formats.pressure_unit}")
            for n in ((1, 10, 50) if formats.units == "us" else (10, 100, 400))
        ),
        steep=True,
        numbers=table(
            ("At", *all_of),
            [
                [formats.temp(float(VAPOUR_C[i])) for i in rows],
                *([f"{values[i] / unit:.1f}" for i in rows] for values in all_of.values()),
            ],
        ),
    )


def _hours(last: int, *, every: int) -> tuple[tuple[float, str], ...]:
    return tuple((float(h), f"{h} h") for h in range(0, last + 1, every))


def _degrees(
    values_c: Iterable[float] | Sequence[float], *, formats: Formats, unit: bool = True
) -> tuple[tuple[float, str], ...]:
    """Return round temperatures of the viewer's scale within some, as °C and words."""
    us = formats.units == "us"
    inside = list(values_c)
    low, high = min(inside), max(inside)
    wide = high - low > _WIDE_K
    every = (20 if wide else 10) if us else (10 if wide else 5)
    ends = [c * 1.8 + 32.0 if us else c for c in (low, high)]
    found: list[tuple[float, str]] = []
    for degrees in range(ceil(ends[0] / every) * every, floor(ends[1] / every) * every + 1, every):
        c = celsius_from_fahrenheit(degrees) if us else float(degrees)
        found.append((c, formats.temp(c) if unit else formats.degrees(c)))
    return tuple(found)
