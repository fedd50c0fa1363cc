"""What a verdict weighs: arguments replace parts of a good drum of iso at 78 °F."""

from dataclasses import replace
from datetime import timedelta
from typing import Any

from drumkeep.domain.conditions import Condition
from drumkeep.domain.drums import DrumFacts
from drumkeep.domain.products import OutputClass, Product
from drumkeep.domain.quantities import celsius_from_fahrenheit
from drumkeep.domain.readiness import Ahead, Basis, Computed, Verdict
from drumkeep.domain.verdicts import judge
from tests.builders.past import BEGIN, HALL, ISO, at

NOW = at(24.0 * 10)


def facts(**changes: Any) -> DrumFacts:
    """Facts of a drum received ten days ago."""
    return replace(DrumFacts(received_at=BEGIN, place=HALL, net_kg=250.0, stays=()), **changes)


def computed(
    mean_f: float = 78.0,
    *,
    bottom_f: float | None = None,
    top_f: float | None = None,
    either_way_f: float = 1.0,
    basis: Basis = Basis.MODELLED,
) -> Computed:
    """Liquid by its mean, bottom and top in °F, each known to within so much."""
    f = celsius_from_fahrenheit
    bottom = mean_f if bottom_f is None else bottom_f
    top = mean_f if top_f is None else top_f
    return Computed(
        bottom_c=f(bottom),
        mean_c=f(mean_f),
        top_c=f(top),
        bottom_low_c=f(bottom - either_way_f),
        bottom_high_c=f(bottom + either_way_f),
        mean_low_c=f(mean_f - either_way_f),
        mean_high_c=f(mean_f + either_way_f),
        low_c=f(bottom - either_way_f),
        high_c=f(top + either_way_f),
        basis=basis,
    )


def verdict(
    liquid: Computed | None = None,
    *conditions: Condition,
    product: Product = ISO,
    unknown: bool = False,
    **changes: Any,
) -> Verdict:
    """Judge a drum; ``unknown`` means that nothing at all is known of its liquid."""
    given: dict[str, Any] = {
        "product": product,
        "facts": facts(),
        "computed": None if unknown else liquid or computed(),
        "conditions": frozenset(conditions),
        "solids_seen": False,
        "output": OutputClass.FROM_20,
        "pressure_kpa": 0.0,
        "made_on": BEGIN - timedelta(days=20),
        "expires_at": BEGIN + timedelta(days=160),
        "ahead": Ahead(),
        "now": NOW,
    }
    return judge(**(given | changes))
