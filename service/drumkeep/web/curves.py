"""Draws a drum's curves with Bokeh: ink on paper, told apart by stroke as well as by tint."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta
from typing import Any, Final, Literal

from bokeh.embed import json_item
from bokeh.models import ColumnDataSource, DatetimeTickFormatter, FixedTicker, HoverTool
from bokeh.models.annotations import Band, BoxAnnotation, Label, Legend, LegendItem, Span
from bokeh.plotting import figure

from drumkeep.domain.quantities import fahrenheit
from drumkeep.language.tongue import ENGLISH
from drumkeep.operations.air_hours import AirHour
from drumkeep.operations.history import CurvePoint
from drumkeep.web.formats import Formats
from drumkeep.web.view_models import DrumView, EventView
from drumkeep.web.wording import HAPPENED, LINE

Scheme = Literal["light", "dark"]

# The same values as static/css/tokens.css, which Bokeh cannot read.
INKS: Final[dict[Scheme, dict[str, str]]] = {
    "light": {
        "sheet": "#fbfcf9",
        "ink": "#171a19",
        "quiet": "#48504c",
        "hair": "#a3aba6",
        "cold": "#c2d1c7",
        "warm": "#f1c878",
    },
    "dark": {
        "sheet": "#272d2a",
        "ink": "#ecede6",
        "quiet": "#adb5af",
        "hair": "#56605a",
        "cold": "#31463b",
        "warm": "#5c410e",
    },
}

# name, field, width, dash: from the thick bottom, which matters most, to the thin dotted air
_STROKES: Final = (
    ("bottom", "bottom", 3.0, "solid"),
    ("mean", "mean", 1.6, "dashed"),
    ("top", "top", 1.2, "solid"),
    ("air", "air", 1.2, "dotted"),
)
_LEGEND_COLUMNS: Final = 2
"""More stick out of the frame on a phone, in the language with the longer words."""

_HEIGHT: Final = 400
_MOST_EVENTS: Final = 12
_MOST_DAYS: Final = 7
"""Named on the axis of a phone."""


@dataclass(frozen=True)
class Curves:
    """What is drawn: the past, the days ahead, and what happened.

    ``hours`` is the air of the past by the hour, where it is told so.
    """

    drum: DrumView
    past: Sequence[CurvePoint]
    ahead: Sequence[CurvePoint]
    events: Sequence[EventView]
    now: datetime
    hours: Sequence[AirHour] = ()


def drawing(curves: Curves, *, formats: Formats, scheme: Scheme) -> dict[str, Any]:
    """Return the drawing as BokehJS takes it.

    Parameters
    ----------
    curves
        What to draw.
    formats
        The viewer's units and the site's zone: the axis reads in local time.
    scheme
        Light or dark paper.
    """
    inks = INKS[scheme]
    shown = figure(
        height=_HEIGHT,
        sizing_mode="stretch_width",
        x_axis_type="datetime",
        toolbar_location=None,
        tools="",
        background_fill_color=inks["sheet"],
        border_fill_color=inks["sheet"],
        outline_line_color=None,
        min_border_right=12,
    )
    _axes(shown, inks=inks, formats=formats, by_hours=bool(curves.hours))
    if formats.language != ENGLISH:
        _days(shown, curves, formats=formats)
    _bands(shown, curves, inks=inks, formats=formats)
    legend = []
    hourly = _hourly(shown, curves.hours, inks=inks, formats=formats) if curves.hours else None
    for points, coming in ((curves.past, False), (curves.ahead, True)):
        source = _source(points, formats=formats)
        shade = Band(
            base="at",
            lower="low",
            upper="high",
            source=source,
            fill_color=inks["hair"],
            fill_alpha=0.18 if coming else 0.32,
            line_color=inks["hair"],
            line_width=0.5,
            level="underlay",
        )
        shown.add_layout(shade)
        for name, field, width, dash in _STROKES:
            line = shown.line(
                "at",
                field,
                source=hourly if hourly is not None and name == "air" and not coming else source,
                line_color=inks["quiet"] if name == "air" else inks["ink"],
                line_width=width,
                line_dash=dash,
                line_alpha=0.55 if coming else 1.0,
            )
            if not coming:
                by_hours = hourly is not None and name == "air"
                called = "air, by the hour" if by_hours else LINE[name]
                words = formats.words(called)
                legend.append(LegendItem(label=words, renderers=[line]))  # type: ignore[list-item]
                if name == "bottom":
                    shown.add_tools(_hover(line, formats=formats))
    _now(shown, curves, inks=inks, formats=formats)
    _happened(shown, curves, inks=inks, formats=formats)
    shown.add_layout(_legend(legend, inks=inks), "above")
    return json_item(shown)  # type: ignore[return-value]


def _hourly(
    shown: figure, hours: Sequence[AirHour], *, inks: dict[str, str], formats: Formats
) -> ColumnDataSource:
    """Shade the air from the lowest to the highest of each hour; return the source of its mean."""
    source = ColumnDataSource(
        {
            "at": [_local_ms(hour.at, formats) for hour in hours],
            "air_low": [round(_degrees(hour.low_c, formats), 2) for hour in hours],
            "air": [round(_degrees(hour.mean_c, formats), 2) for hour in hours],
            "air_high": [round(_degrees(hour.high_c, formats), 2) for hour in hours],
        }
    )
    shown.add_layout(
        Band(
            base="at",
            lower="air_low",
            upper="air_high",
            source=source,
            fill_color=inks["quiet"],
            fill_alpha=0.16,
            line_color=None,
            level="underlay",
        )
    )
    return source


def _local_ms(moment: datetime, formats: Formats) -> float:
    """Epoch ms of the wall clock: BokehJS draws every time as if it were UTC."""
    local = formats.local(moment)
    offset = local.utcoffset()
    shift = offset.total_seconds() if offset is not None else 0.0
    return (moment.timestamp() + shift) * 1000.0


def _degrees(c: float | None, formats: Formats) -> float:
    if c is None:
        return float("nan")
    return fahrenheit(c) if formats.units == "us" else c


def _source(points: Sequence[CurvePoint], *, formats: Formats) -> ColumnDataSource:
    def column(name: str) -> list[float]:
        return [round(_degrees(getattr(point, name), formats), 2) for point in points]

    columns: dict[str, list[float] | list[str]] = {
        "at": [_local_ms(point.at, formats) for point in points],
        "air": column("air_c"),
        "bottom": column("bottom_c"),
        "mean": column("mean_c"),
        "top": column("top_c"),
        "low": column("low_c"),
        "high": column("high_c"),
    }
    if formats.language != ENGLISH:  # the only one in which BokehJS knows the days
        columns["day"] = [formats.tongue.weekday(formats.local(point.at)) for point in points]
    return ColumnDataSource(columns)


def _axes(shown: figure, *, inks: dict[str, str], formats: Formats, by_hours: bool) -> None:
    hours = "%-I %P" if formats.units == "us" else "%H:%M"
    # Of a week the day's name says which, and seven of them fit a phone.
    days = "%b %-d" if by_hours else "%a"
    shown.xaxis.formatter = DatetimeTickFormatter(
        hours=hours, days=days, hourmin=hours, months="%b", context=None
    )
    shown.yaxis.axis_label = formats.temp_unit
    shown.yaxis.axis_label_orientation = "horizontal"
    for axis in (shown.xaxis, shown.yaxis):
        axis.axis_line_color = inks["hair"]
        axis.major_tick_line_color = inks["hair"]
        axis.minor_tick_line_color = None
        axis.major_label_text_color = inks["quiet"]
        axis.major_label_text_font_size = "14px"
        axis.axis_label_text_color = inks["quiet"]
        axis.axis_label_text_font_size = "14px"
        axis.axis_label_text_font_style = "normal"
    shown.grid.grid_line_color = None


def _days(shown: figure, curves: Curves, *, formats: Formats) -> None:
    """Name the days on the axis in the viewer's language: BokehJS knows them in English only."""
    times = [point.at for point in (*curves.past, *curves.ahead)]
    if not times:
        return
    first, last = formats.local(min(times)), formats.local(max(times))
    apart = -(-((last - first).days + 1) // _MOST_DAYS)
    ticks: list[float] = []
    names: list[str] = []
    for number in range(1, (last.date() - first.date()).days + 1, apart):
        day = first.replace(hour=0, minute=0, second=0, microsecond=0) + timedelta(days=number)
        named = formats.tongue.weekday(day)
        if curves.hours:
            named = f"{day.day} {formats.tongue.month(day)}"
        ticks.append(_local_ms(day, formats))
        names.append(named)
    shown.xaxis.ticker = FixedTicker(ticks=ticks)
    shown.xaxis.major_label_overrides = dict(zip(ticks, names, strict=True))


def _bands(shown: figure, curves: Curves, *, inks: dict[str, str], formats: Formats) -> None:
    """Draw the use band as plain paper between tinted cold and warm, and limits as hairlines."""
    low, high = (_degrees(c, formats) for c in curves.drum.use_band_c)
    for edges, tint in (({"top": low}, inks["cold"]), ({"bottom": high}, inks["warm"])):
        outside = BoxAnnotation(fill_color=tint, fill_alpha=0.35, line_color=None, level="image")
        outside.update(**edges)
        shown.add_layout(outside)
    lines = [(formats.words("use from"), low), (formats.words("use to"), high)]
    lines += [
        (formats.words(limit.name).lower(), _degrees(limit.c, formats))
        for limit in curves.drum.limits
        if limit.name in ("Seeding", "Gassing above")
    ]
    # At the far end, where the curves have spread the least words stand in their way.
    end = curves.ahead[-1].at if curves.ahead else curves.now
    for words, value in lines:
        shown.add_layout(
            Span(
                location=value,
                dimension="width",
                line_color=inks["quiet"],
                line_width=0.8,
                line_dash=[1, 3],
            )
        )
        shown.add_layout(
            Label(
                x=_local_ms(end, formats),
                y=value,
                text=f"{words} {value:.0f}",
                text_font_size="13px",
                text_color=inks["ink"],
                text_align="right",
                text_baseline="bottom",
                background_fill_color=inks["sheet"],
                background_fill_alpha=0.7,
            )
        )


def _now(shown: figure, curves: Curves, *, inks: dict[str, str], formats: Formats) -> None:
    at = _local_ms(curves.now, formats)
    shown.add_layout(Span(location=at, dimension="height", line_color=inks["ink"], line_width=1.2))
    shown.add_layout(
        Label(
            x=at,
            y=0,
            y_units="screen",
            x_offset=4,
            y_offset=2,
            text=formats.words("now"),
            text_font_size="13px",
            text_color=inks["ink"],
        )
    )


def _happened(shown: figure, curves: Curves, *, inks: dict[str, str], formats: Formats) -> None:
    """Mark events as ticks with words along the top."""
    first = curves.past[0].at if curves.past else curves.now
    recent = [event for event in curves.events if event.at >= first and event.kind != "wanted"]
    for row, event in enumerate(sorted(recent, key=lambda e: e.at)[-_MOST_EVENTS:]):
        at = _local_ms(event.at, formats)
        shown.add_layout(
            Span(
                location=at,
                dimension="height",
                line_color=inks["hair"],
                line_width=1,
                line_dash=[4, 4],
            )
        )
        shown.add_layout(
            Label(
                x=at,
                y=_HEIGHT - 110 - 17 * (row % 4),
                y_units="screen",
                x_offset=4,
                text=formats.words(HAPPENED[event.kind]),
                text_font_size="13px",
                text_color=inks["quiet"],
                background_fill_color=inks["sheet"],
                background_fill_alpha=0.7,
            )
        )


def _hover(line: Any, *, formats: Formats) -> HoverTool:  # noqa: ANN401 - a renderer
    clock = "%-I:%M %P" if formats.units == "us" else "%H:%M"
    at = f"@at{{%a {clock}}}" if formats.language == ENGLISH else f"@day @at{{{clock}}}"
    both = formats.words("{first} to {last}", first="@low{0.0}", last="@high{0.0}")
    return HoverTool(
        renderers=[line],
        mode="vline",
        tooltips=[
            ("", at),
            (formats.words(LINE["air"]), "@air{0.0}"),
            (formats.words(LINE["bottom"]), "@bottom{0.0}"),
            (formats.words(LINE["mean"]), "@mean{0.0}"),
            (formats.words(LINE["top"]), "@top{0.0}"),
            (formats.words("low to high"), both),
        ],
        formatters={"@at": "datetime"},
    )


def _legend(items: list[LegendItem], *, inks: dict[str, str]) -> Legend:
    return Legend(
        items=items,
        orientation="horizontal",
        ncols=_LEGEND_COLUMNS,
        border_line_color=None,
        background_fill_color=None,
        label_text_color=inks["ink"],
        label_text_font_size="14px",
        margin=0,
        glyph_width=28,
        spacing=12,
    )
