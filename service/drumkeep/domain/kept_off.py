"""What keeps people off a drum or has it stay shut, whatever else is so: heat, pressure, wet."""

from typing import Final

from drumkeep.domain.cautions import CAUTION_TOO_HOT, CAUTION_WET
from drumkeep.domain.condensation import DEW_MARGIN_K, WetAir
from drumkeep.domain.products import Product, Side
from drumkeep.domain.readiness import DIP_IT, Answer, Basis, Computed, Draft, Readiness
from drumkeep.domain.wording import pressure, temperature

MEASURE_SHUT: Final = (
    "Keep it shut: record the skin temperature, by infrared or a contact probe on bare steel low "
    "down; or warm it shut and dip it when the steel is dry."
)
_UNTIL_DRY: Final = "Wait until it is warmer than that, or bring it to drier air."


def keep_off(
    draft: Draft, *, pressure_kpa: float | None, state: Readiness | None
) -> Readiness | None:
    """Keep people off a drum whose pressure is up; it stays too warm or too cold, never ready.

    The one order of what its alarms, pages and forms say, too.
    """
    draft.answer = Answer.DO_NOT_OPEN
    draft.reasons.insert(0, pressure_words(pressure_kpa))
    draft.advice.clear()
    draft.advice.append(
        "Keep off: do not open or move it. Let it cool where it stands, then vent it slowly by the "
        "small bung."
    )
    return Readiness.ON_HOLD if state is Readiness.READY else state


def pressure_words(kpa: float | None) -> str:
    """Say the computed gauge pressure, kPa."""
    return f"The computed pressure is {pressure(kpa or 0.0)}."


def keep_away(draft: Draft, *, product: Product, computed: Computed | None) -> None:
    """Keep people off a drum whose liquid may be over its maximum.

    What is bulged or under pressure keeps its own words first; no other advice stands.
    """
    most = product.limits.maximum_c
    if computed is None or computed.high_c <= most:
        return
    if computed.basis is Basis.UNSUPPORTED and computed.top_c <= most:
        return  # a band that wide says nothing of heat
    if draft.answer is not Answer.DO_NOT_OPEN:
        draft.advice.clear()
    draft.reasons.insert(
        len(draft.reasons) if draft.answer is Answer.DO_NOT_OPEN else 0,
        f"The warmest liquid may be at {temperature(computed.high_c)}, over the product's maximum "
        f"of {temperature(most)}.",
    )
    draft.answer = Answer.DO_NOT_OPEN
    draft.advice += [
        "Stop heating it, keep away, let it cool where it stands; call the manager.",
        "The data sheet and the supplier decide whether it may still be used.",
    ]
    draft.cautions.insert(0, CAUTION_TOO_HOT)


def keep_shut(
    draft: Draft, *, product: Product, computed: Computed | None, wet_air: WetAir | None
) -> None:
    """Keep iso shut while it may sweat: water makes gas and skin in it."""
    if computed is None or wet_air is None:
        return
    margin = wet_air.margin_k(computed.low_c)
    if product.side is Side.RESIN and margin < 0.0:
        draft.cautions.append(CAUTION_WET)
    elif product.side is Side.ISO and margin < DEW_MARGIN_K:
        draft.cautions.insert(0, wet_air.keep_shut)
        draft.advice[:] = [MEASURE_SHUT if line == DIP_IT else line for line in draft.advice]
        opens = any(line.startswith(("Mix", "Agitate")) for line in draft.advice[:1])
        if draft.answer in (Answer.READY, Answer.LOOK_FIRST):
            draft.answer = Answer.DO_NOT_OPEN
            draft.reasons.insert(0, wet_air.keep_shut)
            draft.advice.insert(0, _UNTIL_DRY)
        elif opens and draft.answer is Answer.NOT_YET:
            draft.advice.insert(0, _UNTIL_DRY)
