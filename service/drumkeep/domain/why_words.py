"""What is said of a band's causes and of what would narrow it; units are the reader's own."""

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from typing import Final

from drumkeep.domain.why import WORTH_K, Cause, Option, Way, Width

CAUSES: Final[Mapping[Cause, str]] = {
    Cause.LAYERS: "The liquid itself: its bottom and its top differ",
    Cause.PROPERTIES: "Properties and films: a slow, a likely and a fast drum are computed",
    Cause.DOUBT: "What is not known of its start, or of a time without readings",
    Cause.MODEL: "How far the layers may be off from real liquid",
    Cause.SENSORS: "How far the air sensors may be off",
}

_WAYS: Final[Mapping[Way, str]] = {
    Way.DIP_BOTTOM: "A dip at the bottom",
    Way.DIP_MIDDLE: "A dip at mid-depth",
    Way.DIP_TOP: "A dip near the top",
    Way.SKIN: "A reading of the skin",
    Way.WEIGHING: "Weighing it",
    Way.AIR_SENSOR: "An air sensor",
    Way.HUMIDITY_SENSOR: "A humidity sensor",
}


@dataclass(frozen=True)
class Writer:
    """How the reader writes a range of temperatures (°C) and a difference (K)."""

    span: Callable[[float, float], str]
    difference: Callable[[float], str]


def best_words(best: Option | None, *, now: Width | None, write: Writer) -> str:
    """Say which measurement would narrow the band most."""
    if best is None:
        least = write.difference(WORTH_K)
        return f"No measurement would narrow it by more than {least} either way just now."
    if now is None or best.low_c is None or best.high_c is None:
        either = write.difference(best.half_k)
        return f"{_WAYS[best.way]} would make it known to within {either} either way."
    before, after = write.span(now.low_c, now.high_c), write.span(best.low_c, best.high_c)
    if before == after:
        half, then = write.difference(now.half_k), write.difference(best.half_k)
        way = _WAYS[best.way]
        return f"{way} would narrow {before} most, but only from {half} to {then} either way."
    return f"{_WAYS[best.way]} would narrow {before} most: to about {after}."


def option_words(option: Option, *, now: Width | None, air_known: bool, write: Writer) -> str:
    """Say what a measurement would do to the band, as a clause after its name."""
    if now is None:
        return f"known to within {write.difference(option.half_k)} either way"
    narrows = now.half_k - option.half_k >= WORTH_K
    if option.way is Way.WEIGHING:
        return "no narrower: the mass is taken as known, and the band holds no doubt of it"
    if option.way is Way.HUMIDITY_SENSOR:
        return "no narrower: it would tell the dew point, which rests on an assumed humidity now"
    if option.way is Way.AIR_SENSOR and air_known:
        return "no narrower while those that hang here speak; it counts when one falls silent"
    after = ""
    if option.low_c is not None and option.high_c is not None and narrows:
        span, half = write.span(option.low_c, option.high_c), write.difference(option.half_k)
        after = f"about {span}, {half} either way"
    if option.way is Way.AIR_SENSOR and option.day_later_k is not None:
        later = f"within {write.difference(option.day_later_k)} either way after a day"
        return f"{after} at once, {later}" if after else later
    return after or "hardly narrower"


def way_words(option: Option) -> str:
    """Name a measurement."""
    return _WAYS[option.way]
