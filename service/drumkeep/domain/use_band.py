"""Does all of a drum's liquid lie inside the band in which it is sprayed; if not, what to do."""

from typing import Final

from drumkeep.domain.cautions import CAUTION_AGITATE, CAUTION_HEATING
from drumkeep.domain.conditions import Condition
from drumkeep.domain.products import OutputClass, Product, Side
from drumkeep.domain.readiness import OUTPUT_EDGE_KG, Ahead, Answer, Computed, Draft, Readiness
from drumkeep.domain.wording import mass, moment, temperature

MIX_MINUTES: Final = 15


def by_temperature(
    draft: Draft,
    *,
    product: Product,
    computed: Computed,
    output: OutputClass,
    conditions: frozenset[Condition],
    ahead: Ahead,
) -> Readiness:
    """Return too warm, too cold or ready, for the side of the computed band that is unsafe."""
    low, high = product.limits.use_band(output)
    class_edge = f"{mass(OUTPUT_EDGE_KG)} a minute"
    rate = f"under {class_edge}" if output is OutputClass.UNDER_20 else f"{class_edge} and over"
    if computed.high_c > high:
        draft.reasons.append(
            f"The warmest liquid may be at {temperature(computed.high_c)}; "
            f"for {rate} it must be at most {temperature(high)}."
        )
        draft.advice.append("Move it somewhere cooler; do not open it warm.")
        draft.answer = Answer.NOT_YET
        return Readiness.TOO_WARM
    if computed.low_c >= low:
        draft.reasons.append(
            f"All of the liquid is between {temperature(low)} and {temperature(high)}."
        )
        draft.answer = Answer.READY
        if Condition.GASSING in conditions:
            draft.advice.append("Cool it before opening, or vent it slowly by the small bung.")
        return Readiness.READY
    draft.answer = Answer.NOT_YET
    draft.reasons.append(
        f"The coldest liquid may be at {temperature(computed.low_c)}; "
        f"for {rate} it must be at least {temperature(low)}."
    )
    _advise_warming(draft, product=product, computed=computed, low=low, ahead=ahead)
    return Readiness.TOO_COLD


def _advise_warming(
    draft: Draft, *, product: Product, computed: Computed, low: float, ahead: Ahead
) -> None:
    may_mix = product.side is Side.ISO or computed.mean_c <= product.limits.gassing_c
    if may_mix and computed.mean_low_c >= low:
        draft.advice.append(f"Mix {MIX_MINUTES} minutes to even it out: its mean is warm enough.")
        draft.cautions.append(CAUTION_AGITATE)
        return
    if ahead.ready_at is None and ahead.warm_room is None:
        draft.advice.append("Bring it somewhere warmer: here it does not get there in four days.")
    elif ahead.warm_room is None:
        draft.advice.append("Leave it where it warms up.")
    if ahead.warm_room is not None and ahead.ready_in_warm_room_at is not None:
        draft.advice.append(f"Move it into {ahead.warm_room}.")
        draft.cautions.append(CAUTION_HEATING)
    if ahead.never_note is not None:
        draft.advice.append(ahead.never_note)
    if may_mix and ahead.mixed_at is not None and ahead.mixed_at != ahead.ready_at:
        at = moment(ahead.mixed_at)
        mix = f"Mix it {MIX_MINUTES} minutes, from {at} on: then it is ready."
        if draft.advice:
            mix = f"Or mix it {MIX_MINUTES} minutes, from {at} on: then it is ready."
        draft.advice.append(mix)
