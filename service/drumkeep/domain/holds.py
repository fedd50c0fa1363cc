"""What holds a drum back although its liquid may be warm enough: danger, solids, people, mixing."""

from datetime import datetime, timedelta
from typing import Final

from drumkeep.domain.cautions import CAUTION_AGITATE, CAUTION_GASSING, CAUTION_HEATING
from drumkeep.domain.conditions import Condition
from drumkeep.domain.content import AGENT_ADVICE, Content, agent_words
from drumkeep.domain.drums import DrumFacts, Recheck
from drumkeep.domain.kept_off import pressure_words
from drumkeep.domain.products import Product
from drumkeep.domain.readiness import Answer, Draft, Readiness
from drumkeep.domain.wording import moment, temperature

AGITATION_GOOD_FOR: Final = timedelta(hours=24)


def held_back(
    draft: Draft,
    *,
    product: Product,
    facts: DrumFacts,
    conditions: frozenset[Condition],
    solids_seen: bool,
    pressure_kpa: float | None,
    content: Content,
) -> Readiness | None:
    """Return "on hold" for what must be looked at or asked about first; None if nothing must.

    ``pressure_kpa`` is gauge; ``solids_seen`` says whether somebody saw them, or they are feared.
    """
    if Condition.BULGED in conditions:
        draft.answer = Answer.DO_NOT_OPEN
        draft.reasons.append("Somebody saw this drum bulged.")
        draft.advice.append("Leave it where it is, step away, call the manager.")
        return Readiness.ON_HOLD
    if Condition.OVERPRESSURE in conditions:
        draft.answer = Answer.DO_NOT_OPEN
        draft.reasons.append(pressure_words(pressure_kpa))
        draft.advice.append("Let it cool where it stands; call the manager before anything else.")
        return Readiness.ON_HOLD
    if Condition.SOLIDS_SUSPECTED in conditions:
        draft.answer = Answer.LOOK_FIRST
        if solids_seen:
            draft.reasons.append("Solids were seen in it; warming alone does not remove them.")
            draft.advice.append(
                f"Relieve under dry gas, warm to {temperature(product.limits.redissolve_c)} or "
                "over for 4 h with 30 min of agitation, then look again."
            )
            draft.cautions.append(CAUTION_HEATING)
        else:
            draft.reasons.append("It was, or may have been, cold enough to seed solids.")
            draft.advice.append("Open with care, probe the bottom, record what you find.")
        return Readiness.ON_HOLD
    if Condition.REDISSOLVING in conditions:
        draft.answer = Answer.LOOK_FIRST
        if content.redissolved:
            draft.reasons.append("Solids were seen; it was warm and mixed long enough since.")
            draft.advice.append("Probe the bottom and record the look: nothing else clears it.")
        else:
            draft.reasons.append("Solids were seen; it is being warmed and mixed to dissolve them.")
            draft.advice.append(
                "Keep it warm and mixed, then probe the bottom and record the look."
            )
            draft.cautions.append(CAUTION_HEATING)
        return Readiness.ON_HOLD
    poor = content.agent if Condition.AGENT_LOSS_SUSPECTED in conditions else None
    if poor is not None:
        draft.reasons.append(agent_words(poor))
        draft.advice.append(AGENT_ADVICE)
    if facts.hold is not None:
        typed = facts.hold.reason
        draft.reasons.append(f"On hold: {typed}.")
        draft.advice.append("Ask the manager.")
    if facts.recheck is not None:
        _recheck(draft, facts.recheck, asks=poor is not None or facts.hold is not None)
    held = poor is not None or facts.hold is not None or facts.recheck is not None
    return Readiness.ON_HOLD if held else None


def _recheck(draft: Draft, recheck: Recheck, *, asks: bool) -> None:
    """Have both drums of a set looked at whose ratio pulsed (common practice, no source)."""
    if not asks:
        draft.answer = Answer.LOOK_FIRST
    other = "the other drum of the set" if recheck.other is None else f"drum {recheck.other}"
    draft.reasons.append(f"The ratio pulsed at the gun {moment(recheck.since)}, with {other}.")
    draft.advice.append(
        "Stop spraying. Look for solids, gel and an empty drum, dip the bottom of both, mix, and "
        "record it; have the pumps and their strainers looked at."
    )


def until_agitated(
    draft: Draft, *, product: Product, facts: DrumFacts, made_on: datetime, now: datetime
) -> Readiness:
    """Hold back "ready" until an agitation that the product asks for is on record."""
    limits = product.limits
    minutes = limits.agitate_before_use_min
    why = "This product is agitated before use."
    stored = now - facts.received_at
    asks = limits.agitate_if_stored_days
    if not minutes and asks and stored > timedelta(days=asks):
        minutes = 30.0
        why = f"It has been stored over {asks:.0f} days (made {made_on:%Y-%m-%d})."
    if not minutes:
        return Readiness.READY
    lately = [ran for at, ran in facts.agitations if now - at <= AGITATION_GOOD_FOR]
    if sum(lately) >= minutes:
        return Readiness.READY
    draft.answer = Answer.NOT_YET
    draft.reasons[:] = [why]
    draft.advice.append(f"Agitate {minutes:.0f} minutes and record it; then it is ready.")
    draft.cautions += [CAUTION_AGITATE, CAUTION_GASSING]
    return Readiness.ON_HOLD
