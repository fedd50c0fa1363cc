"""What opening, venting, stirring and emptying a drum of resin cost it of its blowing agent.

Three reckonings stand side by side, least, likely and most: the law of each loss is known, but not
how somebody handles a bung. What is gone counts as a share of what the liquid held when it came.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import NDArray

from drumkeep.domain.events import DrumEvent, EventKind
from drumkeep.domain.grid import STEP_SECONDS
from drumkeep.domain.liquid_pressure import (
    PressureInputs,
    agent_left,
    gauge_kpa,
    pressure_inputs,
)
from drumkeep.domain.liquid_state import NEVER, LiquidStates, likely_mean
from drumkeep.domain.products import Product, Side
from drumkeep.thermal.agent_loss import gas_kg, open_bung_kg_s, vented_share
from drumkeep.thermal.parameter_sets import LIKELY

Floats = NDArray[np.float64]

OPEN_RANGE: Final = (0.3, 1.0, 10.0)
"""Of the drift out of a bung into still air: a bung laid on the hole, as computed, and a draught
across it; our judgement."""

STIRRED_STEPS: Final = 24
"""Two hours after agitation, in which warm resin gasses the more (common practice, no source)."""

STIRRED: Final = 3.0
RUNNING: Final = 10.0
RUNNING_SHUT: Final = 3.0
"""How many times the drift of still liquid: warm and lately stirred, while it is stirred, and while
it is stirred with only the small bung vented; our judgement."""

FILLED_LEAST: Final = 0.5
"""Of the agent it takes to fill the space that liquid left little by little: air came in there, and
the vapour, which is heavy, lies still; our judgement."""

_LETTING_OFF: Final = frozenset({EventKind.OPENED, EventKind.VENTED})
_TAKING_OUT: Final = frozenset({EventKind.WEIGHED, EventKind.DECANTED})


@dataclass(frozen=True)
class AgentInputs:
    """The agent in each drum's product, shape (drum,); fraction 0 where there is none."""

    molar_mass: Floats
    fraction: Floats
    gassing_c: Floats

    def take(self, drums: NDArray[np.intp]) -> "AgentInputs":
        """Return the same for some drums only."""
        return AgentInputs(*(v[drums] for v in self.__dict__.values()))


@dataclass(frozen=True)
class AgentLoss:
    """Agent of one drum: what it would hold untouched, kg, and the share of it that is gone."""

    whole_kg: float
    least: float
    likely: float
    most: float
    allowance: float
    suspected: bool


def agent_inputs(products: Sequence[Product]) -> AgentInputs:
    """Return the agent of each drum's product."""
    molar, fraction = [], []
    for product in products:
        agent = product.properties.blowing_agent if product.side is Side.RESIN else None
        molar.append(0.0 if agent is None else agent.molar_mass)
        fraction.append(0.0 if agent is None else product.properties.agent_mass_fraction)
    return AgentInputs(
        molar_mass=np.array(molar, dtype=np.float64),
        fraction=np.array(fraction, dtype=np.float64),
        gassing_c=np.array([p.limits.gassing_c for p in products], dtype=np.float64),
    )


def agent_loss(states: LiquidStates, *, product: Product) -> AgentLoss | None:
    """Return what one drum, shape (1,), has lost; None where its product has no agent."""
    fraction = float(agent_inputs([product]).fraction[0])
    if fraction == 0.0:
        return None
    state = states[0]
    least, likely, most = (float(share) for share in state["agent_lost"])
    allowance = product.limits.agent_loss_allowance
    return AgentLoss(
        whole_kg=float(state["mass_kg"]) * fraction,
        least=least,
        likely=likely,
        most=most,
        allowance=allowance,
        suspected=likely - float(state["agent_accepted"]) > allowance,
    )


def lose_open(
    states: LiquidStates,
    *,
    mean_c: Floats,
    agent: AgentInputs,
    pressure: PressureInputs,
    site_kpa: Floats,
    step: int,
) -> None:
    """Take off what a step costs drums that stand open or are stirred, in place."""
    ajar = ~states["sealed"] & ~np.isfinite(states["regulated_kpa"])
    running = step < states["agitated_until"]
    rows = np.flatnonzero((ajar | running) & (agent.fraction > 0.0) & (states["mass_kg"] > 0.0))
    if not len(rows):
        return
    some, agent, ajar, running = states[rows], agent.take(rows), ajar[rows], running[rows]
    at_c = mean_c[rows]
    since = step - some["agitated_until"]
    lately = (some["agitated_until"] != NEVER) & (since < STIRRED_STEPS) & (at_c > agent.gassing_c)
    times = np.where(running, np.where(ajar, RUNNING, RUNNING_SHUT), np.where(lately, STIRRED, 1.0))
    drift = open_bung_kg_s(
        agent_kpa=_agent_kpa(some, at_c=at_c, pressure=pressure.take(rows)),
        molar_mass=agent.molar_mass,
        at_c=at_c,
        site_kpa=site_kpa[rows],
    )
    gone = drift * STEP_SECONDS * times / (some["mass_kg"] * agent.fraction)
    states["agent_lost"][rows] = _with(some["agent_lost"], gone[:, None] * np.array(OPEN_RANGE))


def lose_by_event(
    states: LiquidStates,
    *,
    before: LiquidStates,
    event: DrumEvent,
    product: Product,
    site_kpa: float,
) -> None:
    """Take off what an event cost one drum, in place; note what a manager accepts.

    Parameters
    ----------
    states, before
        Its record with the event and without it, shape (1,).
    event, product
        What happened, to what.
    site_kpa
        Air pressure where it stands, kPa absolute.
    """
    if event.kind is EventKind.RECEIVED:
        states["agent_lost"], states["agent_accepted"] = 0.0, 0.0
    elif event.kind is EventKind.RELEASED:
        states["agent_accepted"] = states["agent_lost"][:, LIKELY]
    elif event.kind in _LETTING_OFF and before["sealed"][0]:
        _let_off(states, before=before, product=product, site_kpa=site_kpa)
    elif event.kind in _TAKING_OUT:
        _fill_up(states, before=before, product=product)


def take_blend(
    states: LiquidStates, *, donor: LiquidStates, kg: float, product: Product, poured: Product
) -> None:
    """Let ``kg`` of a donor's liquid come into one drum: agent adds up, in place.

    ``states`` holds the mass without it. Both records have shape (1,).
    """
    own, other = (float(f) for f in agent_inputs([product, poured]).fraction)
    own_kg = float(states["mass_kg"][0])
    whole = (own_kg + kg) * own
    if whole <= 0.0:
        return
    for name in ("agent_lost", "agent_accepted"):
        left = own_kg * own * (1.0 - states[name]) + kg * other * (1.0 - donor[name])
        states[name] = np.clip(1.0 - left / whole, 0.0, 1.0)


def _let_off(
    states: LiquidStates, *, before: LiquidStates, product: Product, site_kpa: float
) -> None:
    pressure, mean = pressure_inputs([product]), likely_mean(before)
    gauge = gauge_kpa(before, mean_c=mean, inputs=pressure, site_kpa=np.array([site_kpa]))
    if not np.isfinite(gauge[0]):
        return
    share = vented_share(gauge_kpa=gauge, site_kpa=site_kpa)
    space = pressure.headspace_m3(before["mass_kg"], temperature_c=mean)
    _lose(states, of=before, product=product, volume_m3=space, times=share[:, 0])


def _fill_up(states: LiquidStates, *, before: LiquidStates, product: Product) -> None:
    """Let agent evaporate into the space that withdrawn liquid left.

    Likely little by little, so that what was drawn later had lost some already: with r the mass
    before over that after, ln r/(r − 1) of what it costs the rest to fill the space at once, which
    is the most.
    """
    pressure, mean = pressure_inputs([product]), likely_mean(before)
    if not np.isfinite(mean[0]) or not 0.0 < states["mass_kg"][0] < before["mass_kg"][0]:
        return
    space = pressure.headspace_m3(states["mass_kg"], temperature_c=mean)
    space -= pressure.headspace_m3(before["mass_kg"], temperature_c=mean)
    ratio = float(before["mass_kg"][0] / states["mass_kg"][0])
    slowly = np.log(ratio) / (ratio - 1.0)
    times = np.array([FILLED_LEAST * slowly, slowly, 1.0])
    _lose(states, of=states, product=product, volume_m3=space, times=times)


def _lose(
    states: LiquidStates,
    *,
    of: LiquidStates,
    product: Product,
    volume_m3: Floats,
    times: Floats,
) -> None:
    agent, pressure, mean = agent_inputs([product]), pressure_inputs([product]), likely_mean(of)
    whole = float(states["mass_kg"][0]) * float(agent.fraction[0])
    if whole <= 0.0:
        return
    gas = gas_kg(
        agent_kpa=_agent_kpa(of, at_c=mean, pressure=pressure),
        molar_mass=agent.molar_mass,
        volume_m3=volume_m3,
        at_c=mean,
    )
    states["agent_lost"] = _with(states["agent_lost"], gas / whole * times)


def _agent_kpa(states: LiquidStates, *, at_c: Floats, pressure: PressureInputs) -> Floats:
    """Pressure of the agent that is left: it falls nearly as the share that is gone grows."""
    return pressure.agent_kpa(at_c) * agent_left(states, at=LIKELY)


def _with(lost: Floats, more: Floats) -> Floats:
    return np.minimum(lost + more, 1.0)
