"""Drums that cannot be computed: told of as unknown, so that no old word is believed for a new one.

What people saw stays: a drum on hold stays on hold, and its conditions and cautions stand.
"""

import logging
from collections.abc import Callable, Mapping
from datetime import datetime
from typing import Any, Final

import numpy as np

from drumkeep.domain.cautions import CAUTION_SHEET
from drumkeep.domain.glances import USE_ORDER, gravity_of
from drumkeep.domain.grid import step_at, to_ms
from drumkeep.domain.liquid_age import begin_age, lot_life
from drumkeep.domain.liquid_state import empty_states, states_from_bytes
from drumkeep.domain.products import OutputClass
from drumkeep.domain.readiness import Answer, Readiness
from drumkeep.errors import Unavailable
from drumkeep.operations.verdict_records import record_without_times
from drumkeep.storage import drums as drum_rows
from drumkeep.storage import estimates as estimate_rows
from drumkeep.storage import glances as glance_rows
from drumkeep.storage.products import as_product
from drumkeep.storage.tables.drums import Drum
from drumkeep.storage.tables.estimates import Estimate, Glance
from drumkeep.storage.transaction import Tx

REASON: Final = "This drum could not be computed: a fault of the program, which its log tells of."
ADVICE: Final = "Dip it before use, and tell the manager; what was known of it before is no guide."

_STAYING: Final = (Answer.DO_NOT_OPEN, Answer.LOOK_FIRST)
_LONGEST: Final = 300
_KEPT_OUTLOOK: Final = ("wanted_at", "open_since", "recheck_since")
_LOG: Final = logging.getLogger(__name__)


def by_halves(
    items: Mapping[int, int | None],
    *,
    do: Callable[[Mapping[int, int | None]], None],
    give_up: Callable[[Mapping[int, int | None], Exception], None],
    what: str,
) -> None:
    """Do something for many; where it fails, for each half of them, down to the one it fails for.

    Parameters
    ----------
    items
        Drums, and from when on their past changed; or sites.
    do
        Raises what it will; that the database is away is nobody's fault and goes on up.
    give_up
        Called with each for which it fails by itself.
    what
        What they are, for the log.
    """
    try:
        do(items)
    except Unavailable:
        raise
    except Exception as error:
        ids = list(items)
        if len(ids) > 1:
            _LOG.warning("%d %s: tried by halves", len(ids), what, exc_info=True)
            for half in (ids[: len(ids) // 2], ids[len(ids) // 2 :]):
                by_halves({one: items[one] for one in half}, do=do, give_up=give_up, what=what)
            return
        _LOG.exception("%s %s: given up for now", what, ids)
        if not ids:
            raise
        give_up(items, error)


def set_aside(tx: Tx, *, since: Mapping[int, int | None], error: Exception, now: datetime) -> None:
    """Put on record that drums could not be computed, and why.

    Parameters
    ----------
    since
        Drums, and from which time (epoch ms) their past changed; that is kept for the next try.
    error
        What happened.
    now
        The present, UTC.
    """
    fault = f"{type(error).__name__}: {error}"[:_LONGEST]
    drum_rows.mark(tx, from_ms={one: start for one, start in since.items() if start is not None})
    before = estimate_rows.estimates_of(tx, drum_ids=list(since))
    for drum_id, drum in drum_rows.drums_by_id(tx, ids=list(since)).items():
        _LOG.error("drum %s is set aside, its temperature unknown: %s", drum.tag, fault)
        known = before.get(drum_id)
        unknown = _unknown(tx, drum, known, fault=fault, now=now)
        estimate_rows.put(tx, estimates=[unknown])
        glances = [_glance(one, unknown) for one in glance_rows.of_drum(tx, drum_id=drum_id)]
        glance_rows.put(tx, rows=glances, of=[drum_id])


def _unknown(tx: Tx, drum: Drum, known: Estimate | None, *, fault: str, now: datetime) -> Estimate:
    verdicts = {} if known is None else known.verdicts
    outlook = {} if known is None else known.outlook
    held = known is not None and known.readiness == Readiness.ON_HOLD
    return Estimate(
        drum_id=drum.id,
        step=step_at(now),
        state=_state(tx, drum, known, now=now),
        computed_at=now,
        was_cold_c=None if known is None else known.was_cold_c,
        was_cold_hours=None if known is None else known.was_cold_hours,
        conditions=[] if known is None else known.conditions,
        verdicts={output.value: _verdict(verdicts.get(output.value)) for output in OutputClass},
        readiness=(Readiness.ON_HOLD if held else Readiness.UNKNOWN).value,
        outlook={name: outlook.get(name) for name in _KEPT_OUTLOOK},
        fault=fault,
    )


def _verdict(known: Mapping[str, Any] | None) -> dict[str, Any]:
    """Return a verdict that says unknown; what kept people off the drum goes on doing so."""
    held = known is not None and known["state"] == Readiness.ON_HOLD
    stays = known if known is not None and (held or known["answer"] in _STAYING) else None
    reasons = [] if stays is None else [one for one in stays["reasons"] if one != REASON]
    return record_without_times(
        state=Readiness.ON_HOLD if held else Readiness.UNKNOWN,
        answer=Answer.ASK if stays is None else stays["answer"],
        reasons=[*reasons, REASON],
        advice=[ADVICE] if stays is None else stays["advice"],
        cautions=[CAUTION_SHEET] if known is None else known["cautions"],
    )


def _state(tx: Tx, drum: Drum, known: Estimate | None, *, now: datetime) -> bytes:
    """Return the record with all that it remembers, and no temperature in it."""
    if known is not None:
        state = states_from_bytes([known.state]).copy()
    else:
        state = empty_states(1)
        lot, product = drum_rows.lots_and_products(tx, lot_ids=[drum.lot_id])[drum.lot_id]
        kind = as_product(product)
        life = lot_life(kind, lot=lot.id, made_on=lot.made_on, expires_on=lot.expires_on)
        begin_age(state, life=life, product=kind, receipt={}, step=step_at(now))
    state["layers"] = np.nan
    return state.tobytes()


def _glance(known: Glance, unknown: Estimate) -> Glance:
    verdict = unknown.verdicts[known.output]
    state = verdict["state"]
    kept = known.model_dump(
        include={"drum_id", "output", "fill", "conditions", "ends_ms", "too_hot"}
    )
    return Glance(
        **kept,
        state=state,
        answer=verdict["answer"],
        gravity=gravity_of(state, unknown.conditions),
        turn=USE_ORDER.index(state),
        computed_ms=to_ms(unknown.computed_at),
        step=unknown.step,
    )
