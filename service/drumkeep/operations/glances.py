"""What lists tell of a drum, made of its estimate: one short row for each output class."""

from datetime import datetime
from typing import Final

from drumkeep.domain.conditions import Condition
from drumkeep.domain.drums import DrumFacts, depth_m
from drumkeep.domain.glances import USE_ORDER, gravity_of
from drumkeep.domain.grid import to_ms
from drumkeep.domain.liquid_age import age_of
from drumkeep.domain.liquid_state import states_from_bytes
from drumkeep.domain.products import Product
from drumkeep.domain.readiness import Answer, Readiness
from drumkeep.storage.tables.estimates import Estimate, Glance
from drumkeep.thermal.geometry import DRUM_INSIDE_HEIGHT_M

_FILL_DIGITS: Final = 2


def glances_of(estimate: Estimate, *, facts: DrumFacts, product: Product) -> list[Glance]:
    """Return the glances of a present drum; none of one that is gone.

    A drum that is too warm is not sent to a warm room, though that may be the cooler place.
    """
    if facts.ended is not None:
        return []
    fill = min(depth_m(facts.net_kg, product=product) / DRUM_INSIDE_HEIGHT_M, 1.0)
    known = estimate.basis is not None
    age = age_of(states_from_bytes([estimate.state]), product=product, step=estimate.step)
    found = []
    for output, verdict in estimate.verdicts.items():
        state = verdict["state"]
        here = _ms(verdict["ready_at"])
        room = None if state == Readiness.TOO_WARM else _ms(verdict["ready_in_warm_room_at"])
        soonest = min((ms for ms in (here, room) if ms is not None), default=None)
        in_room = soonest is not None and soonest != here
        found.append(
            Glance(
                drum_id=estimate.drum_id,
                output=output,
                state=state,
                answer=verdict["answer"],
                gravity=gravity_of(state, estimate.conditions),
                turn=USE_ORDER.index(state),
                fill=round(fill, _FILL_DIGITS),
                too_hot=verdict["answer"] == Answer.DO_NOT_OPEN
                and (estimate.high_c or 0.0) > product.limits.maximum_c,
                conditions=",".join(Condition(name).value for name in estimate.conditions),
                basis=estimate.basis,
                bottom_c=estimate.bottom_c if known else None,
                mean_c=estimate.mean_c if known else None,
                low_c=estimate.low_c if known else None,
                high_c=estimate.high_c if known else None,
                soonest_ms=soonest,
                soonest_in=verdict["warm_room"] if in_room else None,
                ends_ms=to_ms(age.ends_at),
                computed_ms=to_ms(estimate.computed_at),
                step=estimate.step,
            )
        )
    return found


def _ms(text: str | None) -> int | None:
    return None if text is None else to_ms(datetime.fromisoformat(text))
