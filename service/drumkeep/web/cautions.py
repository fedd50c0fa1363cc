"""Cautions beside what a page may lead somebody to do: heat, open, move, breathe.

They are common practice, no source, unless a line says otherwise; the safety data sheet, the
supplier, local codes and licensed practice come first, and each page says so.
"""

from collections.abc import Mapping
from typing import Final

from drumkeep.web.formats import Formats
from drumkeep.web.view_models import DrumView, Phrase

_SHEET_FIRST: Final = "Data sheet first."
_SENSITISER: Final = (
    "Iso can sensitise for life: gloves, goggles and the breathing protection of its data sheet."
)
_NITROGEN: Final = "Nitrogen displaces air: not in a closed room."
_MOST_BLANKET_KPA: Final = 20.0
"""Most that a blanket may press (common practice, no source)."""

_OPENS: Final = frozenset(
    {"opened", "vented", "dipped", "agitated", "inspected", "blanketed", "decanted", "topped"}
)

_ALWAYS: Final[Mapping[str, tuple[str, ...]]] = {
    "heated": (
        "Small bung vented while it is on; never leave it on overnight unwatched.",
        "Keep a band below the liquid level, and mix: it makes a hot ring.",
    ),
    "agitated": ("Keep the small bung vented while you mix.",),
    "decanted": (
        "NEVER pour A into B: read the side and the ring on both drums first.",
        "Only the same product, and the same lot if you can: the older counts for all of it.",
    ),
    "topped": (
        "NEVER pour A into B: read the side and the ring on both drums first.",
        "Only the same product, and the same lot if you can: the older counts for all of it.",
    ),
    "ratio_off": (
        "Stop spraying: foam off ratio is found months later.",
        "Relieve the hoses before anything is opened.",
    ),
    "disposed": (
        "It leaves the stock for good.",
        "What is left in it is waste: the data sheet and local codes say how it goes.",
    ),
    "emptied": (
        "It leaves the stock; for ten minutes that can be undone.",
        "An empty drum still holds vapour and a rest: keep it shut, never cut it.",
    ),
}

_HEAVY_KG: Final = 272.0
"""Mass of a heavy full drum with its steel (common practice, no source: 600 lb)."""


def verdict_cautions(phrase: Phrase, drum: DrumView) -> tuple[str, ...]:
    """Return the cautions that fit the verdict page: one line, two where it may be opened."""
    if "bulged" in drum.conditions:
        return ("Keep others away from it.",)
    if phrase == "DO NOT OPEN":
        return ("Water makes gas in iso.",) if drum.sweats else ("Do not move it either.",)
    if phrase == "NOT YET":
        act = {
            "too_cold": "Never heat a tight drum.",
            "too_warm": "Move it shut, with a drum truck.",
        }
        mix = "Small bung vented while you mix."
        line = mix if drum.mix_first else act.get(drum.readiness, mix)
        return (f"{line} {_SHEET_FIRST}",)
    if phrase == "ASK" and drum.readiness != "unknown":
        return ()
    vent = "Vent slowly by the small bung."
    if "gassing" in drum.conditions:
        vent = "It is gassing: cool it first, or vent very slowly by the small bung."
    if drum.tight:
        vent = "Never heat a tight drum; keep under its maximum."
    side = "Iso can sensitise for life: gloves, goggles, mask." if drum.side == "iso" else ""
    return tuple(line for line in (side, f"{vent} {_SHEET_FIRST}") if line)


def cautions_for(kind: str, drum: DrumView, formats: Formats) -> tuple[str, ...]:
    """Return the cautions that stand beside a form.

    Parameters
    ----------
    kind
        The drum event that the form records, as in ``ACTION``.
    drum
        The drum as it is now; a bulged or pressurised one outranks every other caution.
    formats
        For masses and temperatures in the viewer's units.
    """
    handles = kind not in ("held", "released", "wanted")
    if handles and "bulged" in drum.conditions:
        return ("Bulged: do not move it, do not open it. Step away and call.",)
    if handles and "overpressure" in drum.conditions:
        return ("Under pressure: do not open it and do not move it. Let it cool first.",)
    if handles and "pressure" in drum.conditions:
        return ("Under pressure: let it cool where it stands, then vent slowly, face away.",)
    lines: list[str] = []
    if kind in _OPENS:
        lines += _opening_cautions(drum)
    lines += _ALWAYS.get(kind, ())
    if kind == "moved":
        heavy = formats.mass(_HEAVY_KG)
        lines.append(f"Up to {heavy} with its steel: drum truck, two people, fingers clear.")
        lines.append(
            "Before it goes where it is heated: relieve it under dry gas. Never heat it tight."
        )
    if kind == "resealed" and drum.side == "iso":
        lines.append("Close iso under dry gas: wet air skins it over and makes pressure.")
        lines.append(_NITROGEN)
    if kind == "blanketed":
        highest = formats.pressure(_MOST_BLANKET_KPA)
        lines.append(f"Dry gas only, by a regulator, never over {highest}: a drum is no vessel.")
        lines.append(_NITROGEN)
    if kind in ("wanted", "heated"):
        lines.append(_heating_caution(drum, formats))
    return tuple(lines)


def _opening_cautions(drum: DrumView) -> list[str]:
    lines = ["Vent slowly by the small bung first, face away."]
    if drum.side == "iso":
        lines.append(_SENSITISER)
        lines.append("Do not open it while it sweats: water makes gas in iso.")
    elif "gassing" in drum.conditions:
        lines.append("It is gassing: cool it first if you can.")
    return lines


def _heating_caution(drum: DrumView, formats: Formats) -> str:
    highest = next((x for x in drum.limits if "maximum" in x.name.lower()), None)
    if highest is None:
        return "Warm it slowly, relieved under dry gas. Never heat a tight drum."
    top = formats.temp(highest.c)
    return f"Warm it slowly, relieved under dry gas, never tight, never above {top}."
