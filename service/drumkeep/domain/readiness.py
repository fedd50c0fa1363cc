"""Is a drum fit to spray now, why, when will it be, and what to do.

Decisions take the side of the band that is unsafe. When unsure the answer is "unknown" or "not
ready", never "ready".

Over 400 lines because one verdict weighs everything at once, and its words stand beside its rules.
"""

from dataclasses import dataclass, field
from datetime import datetime, timedelta
from enum import StrEnum
from math import isfinite
from typing import Final

from drumkeep.domain.cautions import (
    CAUTION_AGITATE,
    CAUTION_GASSING,
    CAUTION_HEATING,
    CAUTION_SHEET,
    CAUTION_TOO_HOT,
    CAUTION_WET,
    cautions_of,
)
from drumkeep.domain.condensation import DEW_MARGIN_K, WetAir
from drumkeep.domain.conditions import Condition
from drumkeep.domain.content import (
    AGENT_ADVICE,
    CAUTION_MIXED,
    Content,
    agent_words,
    spent_words,
)
from drumkeep.domain.drums import DrumFacts, Recheck
from drumkeep.domain.products import OutputClass, Product, Side
from drumkeep.domain.quantities import kilograms_from_pounds
from drumkeep.domain.wording import difference, mass, moment, pressure, temperature


class Readiness(StrEnum):
    """In order of precedence."""

    ON_HOLD = "on_hold"
    UNKNOWN = "unknown"
    TOO_WARM = "too_warm"
    TOO_COLD = "too_cold"
    READY = "ready"


class Basis(StrEnum):
    """What a computed temperature rests on."""

    MEASURED = "measured"
    MODELLED = "modelled"
    UNSUPPORTED = "unsupported"


class Answer(StrEnum):
    """What the crew reads on a drum's verdict page."""

    READY = "READY"
    NOT_YET = "NOT YET"
    DO_NOT_OPEN = "DO NOT OPEN"
    LOOK_FIRST = "LOOK FIRST"
    ASK = "ASK"


AGITATION_GOOD_FOR: Final = timedelta(hours=24)
MIX_MINUTES: Final = 15
NOT_COMPUTED: Final = "It has not been computed yet."
DIP_IT: Final = "Dip the liquid and record it."
MEASURE_SHUT: Final = (
    "Keep it shut: record the skin temperature, by infrared or a contact probe on bare steel low "
    "down; or warm it shut and dip it when the steel is dry."
)
_UNTIL_DRY: Final = "Wait until it is warmer than that, or bring it to drier air."
OUTPUT_EDGE_KG: Final = kilograms_from_pounds(20.0)
"""Foam a minute at which the one output class ends and the other begins."""


@dataclass(frozen=True)
class Computed:
    """A drum's computed liquid, °C; None throughout where nothing is known.

    ``refused_k`` is by how much a measurement that was not used was off; None where none stands.
    ``unmeasured``: it rests on the air that it came from alone.
    """

    bottom_c: float
    mean_c: float
    top_c: float
    bottom_low_c: float
    bottom_high_c: float
    mean_low_c: float
    mean_high_c: float
    low_c: float
    high_c: float
    basis: Basis
    refused_k: float | None = None
    unmeasured: bool = False

    @property
    def is_finite(self) -> bool:
        """Whether every temperature is a number."""
        return all(isfinite(v) for v in self.__dict__.values() if isinstance(v, float))


@dataclass(frozen=True)
class Ahead:
    """When a drum's whole band will lie inside its use band (slow case).

    ``…_from`` is the earliest that its liquid may (fast case): information, nothing to plan by.
    """

    ready_at: datetime | None = None
    ready_from: datetime | None = None
    mixed_at: datetime | None = None
    warm_room: str | None = None
    ready_in_warm_room_at: datetime | None = None
    ready_in_warm_room_from: datetime | None = None
    never_note: str | None = None


@dataclass(frozen=True)
class Verdict:
    """Readiness with its reasons; sentences carry marks (``domain.wording``)."""

    state: Readiness
    answer: Answer
    reasons: tuple[str, ...]
    advice: tuple[str, ...]
    cautions: tuple[str, ...]
    ready_at: datetime | None


@dataclass
class _Words:
    answer: Answer = Answer.ASK
    reasons: list[str] = field(default_factory=list)
    advice: list[str] = field(default_factory=list)
    cautions: list[str] = field(default_factory=list)


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
    words = _Words(
        cautions=cautions_of(
            product=product,
            facts=facts,
            conditions=conditions,
            pressure_kpa=pressure_kpa,
            hot_kpa=hot_kpa,
            now=now,
        )
    )
    state = _held(
        words,
        product=product,
        facts=facts,
        conditions=conditions,
        solids_seen=solids_seen,
        pressure_kpa=pressure_kpa,
        content=content,
    )
    if content.mixed_lots:
        words.cautions.append(CAUTION_MIXED)
    spent = spent_words(content, expires_at=expires_at, now=now)
    if spent is not None and state is None:
        state = Readiness.ON_HOLD
        words.reasons.append(spent)
        words.advice.append("Ask the manager: the supplier may re-test the lot.")
    if state is None and (computed is None or computed.basis is Basis.UNSUPPORTED):
        state = Readiness.UNKNOWN
        _unknown(words, computed)
    if state is None and computed is not None:
        state = _by_temperature(
            words,
            product=product,
            computed=computed,
            output=output,
            conditions=conditions,
            ahead=ahead,
        )
        if state is Readiness.READY:
            state = _agitation(words, product=product, facts=facts, made_on=made_on, now=now)
    pressed = Condition.PRESSURE in conditions and words.answer is not Answer.DO_NOT_OPEN
    if pressed:
        state = _under_pressure(words, pressure_kpa=pressure_kpa, state=state)
    final = state or Readiness.UNKNOWN
    _too_hot(words, product=product, computed=computed)
    _sweating(words, product=product, computed=computed, wet_air=wet_air)
    waiting = final in (Readiness.TOO_COLD, Readiness.TOO_WARM) and not pressed
    return Verdict(
        state=final,
        answer=words.answer,
        reasons=tuple(words.reasons),
        advice=tuple(words.advice),
        cautions=(*words.cautions, CAUTION_SHEET),
        ready_at=ahead.ready_at if waiting else None,
    )


def _sweating(
    words: _Words, *, product: Product, computed: Computed | None, wet_air: WetAir | None
) -> None:
    """Keep iso shut while it may sweat: water makes gas and skin in it."""
    if computed is None or wet_air is None:
        return
    margin = wet_air.margin_k(computed.low_c)
    if product.side is Side.RESIN and margin < 0.0:
        words.cautions.append(CAUTION_WET)
    elif product.side is Side.ISO and margin < DEW_MARGIN_K:
        words.cautions.insert(0, wet_air.keep_shut)
        words.advice[:] = [MEASURE_SHUT if line == DIP_IT else line for line in words.advice]
        opens = any(line.startswith(("Mix", "Agitate")) for line in words.advice[:1])
        if words.answer in (Answer.READY, Answer.LOOK_FIRST):
            words.answer = Answer.DO_NOT_OPEN
            words.reasons.insert(0, wet_air.keep_shut)
            words.advice.insert(0, _UNTIL_DRY)
        elif opens and words.answer is Answer.NOT_YET:
            words.advice.insert(0, _UNTIL_DRY)


def _too_hot(words: _Words, *, product: Product, computed: Computed | None) -> None:
    """Keep people off a drum whose liquid may be over its maximum.

    What is bulged or under pressure keeps its own words first; no other advice stands.
    """
    most = product.limits.maximum_c
    if computed is None or computed.high_c <= most:
        return
    if computed.basis is Basis.UNSUPPORTED and computed.top_c <= most:
        return  # a band that wide says nothing of heat
    if words.answer is not Answer.DO_NOT_OPEN:
        words.advice.clear()
    words.reasons.insert(
        len(words.reasons) if words.answer is Answer.DO_NOT_OPEN else 0,
        f"The warmest liquid may be at {temperature(computed.high_c)}, over the product's maximum "
        f"of {temperature(most)}.",
    )
    words.answer = Answer.DO_NOT_OPEN
    words.advice += [
        "Stop heating it, keep away, let it cool where it stands; call the manager.",
        "The data sheet and the supplier decide whether it may still be used.",
    ]
    words.cautions.insert(0, CAUTION_TOO_HOT)


def _under_pressure(
    words: _Words, *, pressure_kpa: float | None, state: Readiness | None
) -> Readiness | None:
    """Keep people off a drum whose pressure is up; it stays too warm or too cold, never ready.

    The one order of what its alarms, pages and forms say, too.
    """
    words.answer = Answer.DO_NOT_OPEN
    words.reasons.insert(0, _pressure_words(pressure_kpa))
    words.advice.clear()
    words.advice.append(
        "Keep off: do not open or move it. Let it cool where it stands, then vent it slowly by the "
        "small bung."
    )
    return Readiness.ON_HOLD if state is Readiness.READY else state


def _pressure_words(kpa: float | None) -> str:
    return f"The computed pressure is {pressure(kpa or 0.0)}."


def _held(
    words: _Words,
    *,
    product: Product,
    facts: DrumFacts,
    conditions: frozenset[Condition],
    solids_seen: bool,
    pressure_kpa: float | None,
    content: Content,
) -> Readiness | None:
    if Condition.BULGED in conditions:
        words.answer = Answer.DO_NOT_OPEN
        words.reasons.append("Somebody saw this drum bulged.")
        words.advice.append("Leave it where it is, step away, call the manager.")
        return Readiness.ON_HOLD
    if Condition.OVERPRESSURE in conditions:
        words.answer = Answer.DO_NOT_OPEN
        words.reasons.append(_pressure_words(pressure_kpa))
        words.advice.append("Let it cool where it stands; call the manager before anything else.")
        return Readiness.ON_HOLD
    if Condition.SOLIDS_SUSPECTED in conditions:
        words.answer = Answer.LOOK_FIRST
        if solids_seen:
            words.reasons.append("Solids were seen in it; warming alone does not remove them.")
            words.advice.append(
                f"Relieve under dry gas, warm to {temperature(product.limits.redissolve_c)} or "
                "over for 4 h with 30 min of agitation, then look again."
            )
            words.cautions.append(CAUTION_HEATING)
        else:
            words.reasons.append("It was, or may have been, cold enough to seed solids.")
            words.advice.append("Open with care, probe the bottom, record what you find.")
        return Readiness.ON_HOLD
    if Condition.REDISSOLVING in conditions:
        words.answer = Answer.LOOK_FIRST
        if content.redissolved:
            words.reasons.append("Solids were seen; it was warm and mixed long enough since.")
            words.advice.append("Probe the bottom and record the look: nothing else clears it.")
        else:
            words.reasons.append("Solids were seen; it is being warmed and mixed to dissolve them.")
            words.advice.append(
                "Keep it warm and mixed, then probe the bottom and record the look."
            )
            words.cautions.append(CAUTION_HEATING)
        return Readiness.ON_HOLD
    poor = content.agent if Condition.AGENT_LOSS_SUSPECTED in conditions else None
    if poor is not None:
        words.reasons.append(agent_words(poor))
        words.advice.append(AGENT_ADVICE)
    if facts.hold is not None:
        typed = facts.hold.reason
        words.reasons.append(f"On hold: {typed}.")
        words.advice.append("Ask the manager.")
    if facts.recheck is not None:
        _recheck(words, facts.recheck, asks=poor is not None or facts.hold is not None)
    held = poor is not None or facts.hold is not None or facts.recheck is not None
    return Readiness.ON_HOLD if held else None


def _recheck(words: _Words, recheck: Recheck, *, asks: bool) -> None:
    """Have both drums of a set looked at whose ratio pulsed (common practice, no source)."""
    if not asks:
        words.answer = Answer.LOOK_FIRST
    other = "the other drum of the set" if recheck.other is None else f"drum {recheck.other}"
    words.reasons.append(f"The ratio pulsed at the gun {moment(recheck.since)}, with {other}.")
    words.advice.append(
        "Stop spraying. Look for solids, gel and an empty drum, dip the bottom of both, mix, and "
        "record it; have the pumps and their strainers looked at."
    )


def _unknown(words: _Words, computed: Computed | None) -> None:
    if computed is None:
        words.reasons.append(
            "Nobody measured it, and no air was on record when it came, here or where it came from."
        )
    elif computed.refused_k is not None:
        off = difference(abs(computed.refused_k))
        measured = f"It was measured {off} colder than computed"
        if computed.refused_k > 0.0:
            measured = f"It was measured {off} warmer than computed"
        words.reasons.append(
            f"{measured}, too far off to be used, and counts as not known until another "
            "measurement settles it."
        )
    elif computed.unmeasured:
        words.reasons.append(
            "Nobody measured it since it came: computed from air alone, it may lie anywhere from "
            f"{temperature(computed.low_c)} to {temperature(computed.high_c)}."
        )
    else:
        words.reasons.append(
            "Its temperature is not supported by enough data: it may lie anywhere from "
            f"{temperature(computed.low_c)} to {temperature(computed.high_c)}."
        )
    words.advice.append(DIP_IT)


def _by_temperature(
    words: _Words,
    *,
    product: Product,
    computed: Computed,
    output: OutputClass,
    conditions: frozenset[Condition],
    ahead: Ahead,
) -> Readiness:
    low, high = product.limits.use_band(output)
    class_edge = f"{mass(OUTPUT_EDGE_KG)} a minute"
    rate = f"under {class_edge}" if output is OutputClass.UNDER_20 else f"{class_edge} and over"
    if computed.high_c > high:
        words.reasons.append(
            f"The warmest liquid may be at {temperature(computed.high_c)}; "
            f"for {rate} it must be at most {temperature(high)}."
        )
        words.advice.append("Move it somewhere cooler; do not open it warm.")
        words.answer = Answer.NOT_YET
        return Readiness.TOO_WARM
    if computed.low_c >= low:
        words.reasons.append(
            f"All of the liquid is between {temperature(low)} and {temperature(high)}."
        )
        words.answer = Answer.READY
        if Condition.GASSING in conditions:
            words.advice.append("Cool it before opening, or vent it slowly by the small bung.")
        return Readiness.READY
    words.answer = Answer.NOT_YET
    words.reasons.append(
        f"The coldest liquid may be at {temperature(computed.low_c)}; "
        f"for {rate} it must be at least {temperature(low)}."
    )
    _advise_warming(words, product=product, computed=computed, low=low, ahead=ahead)
    return Readiness.TOO_COLD


def _advise_warming(
    words: _Words, *, product: Product, computed: Computed, low: float, ahead: Ahead
) -> None:
    may_mix = product.side is Side.ISO or computed.mean_c <= product.limits.gassing_c
    if may_mix and computed.mean_low_c >= low:
        words.advice.append(f"Mix {MIX_MINUTES} minutes to even it out: its mean is warm enough.")
        words.cautions.append(CAUTION_AGITATE)
        return
    if ahead.ready_at is None and ahead.warm_room is None:
        words.advice.append("Bring it somewhere warmer: here it does not get there in four days.")
    elif ahead.warm_room is None:
        words.advice.append("Leave it where it warms up.")
    if ahead.warm_room is not None and ahead.ready_in_warm_room_at is not None:
        words.advice.append(f"Move it into {ahead.warm_room}.")
        words.cautions.append(CAUTION_HEATING)
    if ahead.never_note is not None:
        words.advice.append(ahead.never_note)
    if may_mix and ahead.mixed_at is not None and ahead.mixed_at != ahead.ready_at:
        at = moment(ahead.mixed_at)
        mix = f"Mix it {MIX_MINUTES} minutes, from {at} on: then it is ready."
        if words.advice:
            mix = f"Or mix it {MIX_MINUTES} minutes, from {at} on: then it is ready."
        words.advice.append(mix)


def _agitation(
    words: _Words, *, product: Product, facts: DrumFacts, made_on: datetime, now: datetime
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
    words.answer = Answer.NOT_YET
    words.reasons[:] = [why]
    words.advice.append(f"Agitate {minutes:.0f} minutes and record it; then it is ready.")
    words.cautions += [CAUTION_AGITATE, CAUTION_GASSING]
    return Readiness.ON_HOLD
