"""Is a drum fit to spray now, why, when will it be, and what to do.

Decisions take the side of the band that is unsafe. When unsure the answer is "unknown" or "not
ready", never "ready".
"""

from datetime import datetime

from drumkeep.domain.cautions import CAUTION_SHEET, cautions_of
from drumkeep.domain.condensation import WetAir
from drumkeep.domain.conditions import Condition
from drumkeep.domain.content import CAUTION_MIXED, Content, spent_words
from drumkeep.domain.drums import DrumFacts
from drumkeep.domain.holds import held_back, until_agitated
from drumkeep.domain.kept_off import keep_away, keep_off, keep_shut
from drumkeep.domain.products import OutputClass, Product
from drumkeep.domain.readiness import (
    DIP_IT,
    Ahead,
    Answer,
    Basis,
    Computed,
    Draft,
    Readiness,
    Verdict,
)
from drumkeep.domain.use_band import by_temperature
from drumkeep.domain.wording import difference, temperature


def judge(  # noqa: PLR0913 - a verdict weighs all of these
    *,
    product: Product,
    facts: DrumFacts,
    computed: Computed | None,
    conditions: frozenset[Condition],
    solids_seen: bool,
    output: OutputClass,
    pressure_kpa: float | None,
    made_on: datetime,
    expires_at: datetime,
    ahead: Ahead,
    hot_kpa: float | None = None,
    wet_air: WetAir | None = None,
    content: Content = Content(),  # noqa: B008 - frozen
    now: datetime,
) -> Verdict:
    """Give the verdict on one drum for one output class.

    Parameters
    ----------
    product
        Limits and side.
    facts
        What people recorded.
    computed
        The liquid; None where nothing is known of it.
    conditions
        What its memory and pressure amount to.
    solids_seen
        Whether solids were seen in it and have not been redissolved since.
    output
        Pounds a minute class that the crew will spray.
    pressure_kpa
        Computed gauge pressure; None where unknown.
    made_on, expires_at
        The lot's dates.
    ahead
        The outlook, slow case.
    hot_kpa
        Computed gauge pressure at 55 °C as it is filled; None where that was not asked.
    wet_air
        The air's dew point where it stands; None where the air is not known.
    content
        What its liquid has been through.
    now
        The present, UTC.
    """
    if computed is not None and not computed.is_finite:
        computed = None  # what cannot be compared is in no band
    draft = Draft(
        cautions=cautions_of(
            product=product,
            facts=facts,
            conditions=conditions,
            pressure_kpa=pressure_kpa,
            hot_kpa=hot_kpa,
            now=now,
        )
    )
    state = held_back(
        draft,
        product=product,
        facts=facts,
        conditions=conditions,
        solids_seen=solids_seen,
        pressure_kpa=pressure_kpa,
        content=content,
    )
    if content.mixed_lots:
        draft.cautions.append(CAUTION_MIXED)
    spent = spent_words(content, expires_at=expires_at, now=now)
    if spent is not None and state is None:
        state = Readiness.ON_HOLD
        draft.reasons.append(spent)
        draft.advice.append("Ask the manager: the supplier may re-test the lot.")
    if state is None and (computed is None or computed.basis is Basis.UNSUPPORTED):
        state = Readiness.UNKNOWN
        _unknown(draft, computed)
    if state is None and computed is not None:
        state = by_temperature(
            draft,
            product=product,
            computed=computed,
            output=output,
            conditions=conditions,
            ahead=ahead,
        )
        if state is Readiness.READY:
            state = until_agitated(draft, product=product, facts=facts, made_on=made_on, now=now)
    pressed = Condition.PRESSURE in conditions and draft.answer is not Answer.DO_NOT_OPEN
    if pressed:
        state = keep_off(draft, pressure_kpa=pressure_kpa, state=state)
    final = state or Readiness.UNKNOWN
    keep_away(draft, product=product, computed=computed)
    keep_shut(draft, product=product, computed=computed, wet_air=wet_air)
    waiting = final in (Readiness.TOO_COLD, Readiness.TOO_WARM) and not pressed
    return Verdict(
        state=final,
        answer=draft.answer,
        reasons=tuple(draft.reasons),
        advice=tuple(draft.advice),
        cautions=(*draft.cautions, CAUTION_SHEET),
        ready_at=ahead.ready_at if waiting else None,
    )


def _unknown(draft: Draft, computed: Computed | None) -> None:
    if computed is None:
        draft.reasons.append(
            "Nobody measured it, and no air was on record when it came, here or where it came from."
        )
    elif computed.refused_k is not None:
        off = difference(abs(computed.refused_k))
        measured = f"It was measured {off} colder than computed"
        if computed.refused_k > 0.0:
            measured = f"It was measured {off} warmer than computed"
        draft.reasons.append(
            f"{measured}, too far off to be used, and counts as not known until another "
            "measurement settles it."
        )
    elif computed.unmeasured:
        draft.reasons.append(
            "Nobody measured it since it came: computed from air alone, it may lie anywhere from "
            f"{temperature(computed.low_c)} to {temperature(computed.high_c)}."
        )
    else:
        draft.reasons.append(
            "Its temperature is not supported by enough data: it may lie anywhere from "
            f"{temperature(computed.low_c)} to {temperature(computed.high_c)}."
        )
    draft.advice.append(DIP_IT)
