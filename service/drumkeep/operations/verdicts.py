"""From a drum's advanced liquid to what people are told: band, conditions, outlook, verdict."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime
from typing import Any

import numpy as np
from numpy.typing import NDArray

from drumkeep.domain.condensation import WetAir, wet_air
from drumkeep.domain.conditions import Condition, conditions_of, was_cold
from drumkeep.domain.content import Content
from drumkeep.domain.drums import DrumFacts
from drumkeep.domain.liquid_age import age_of
from drumkeep.domain.liquid_agent import agent_loss
from drumkeep.domain.liquid_pressure import (
    PressureInputs,
    gauge_kpa,
    gauge_span_kpa,
    hot_gauge_kpa,
    pressure_inputs,
)
from drumkeep.domain.liquid_state import (
    MEASURED_STEPS,
    NEVER,
    UNSUPPORTED_K,
    LiquidStates,
    Solids,
    band_at,
    disputed,
    likely_mean,
)
from drumkeep.domain.liquid_surroundings import PlaceHeat
from drumkeep.domain.products import OutputClass, Product
from drumkeep.domain.readiness import Ahead, Basis, Computed
from drumkeep.domain.verdicts import judge
from drumkeep.operations.days_ahead import AirsAhead
from drumkeep.operations.ground import Premises
from drumkeep.operations.kept_outlooks import LookAhead
from drumkeep.operations.outlooks import DrumOutlook, look_ahead
from drumkeep.operations.surroundings import supported_to
from drumkeep.operations.verdict_records import from_iso, iso, record_of
from drumkeep.storage.tables.estimates import Estimate
from drumkeep.thermal.band import Band

Floats = NDArray[np.float64]


@dataclass(frozen=True)
class Known:
    """One drum's facts beside its liquid."""

    drum_id: int
    product: Product
    facts: DrumFacts
    share: float


def judge_drums(
    known: Sequence[Known],
    *,
    states: LiquidStates,
    step: int,
    places: Mapping[int, PlaceHeat],
    premises: Premises,
    now: datetime,
    look: LookAhead = look_ahead,
) -> list[Estimate]:
    """Return what is to be stored of each drum, in the order given.

    Parameters
    ----------
    known
        The drums' facts.
    states
        Their records after the events of ``step``.
    step
        The grid step of the present.
    places
        Air and films of every place they stand in, and of the warm rooms.
    premises
        The catalogue of places.
    now
        The present, UTC.
    look
        Looks ahead for them.
    """
    if not known:
        return []
    heats = [places[k.facts.place] for k in known]
    mean = likely_mean(states)
    air = np.array([h.air.window(first=step, last=step)[0] for h in heats])
    band = band_at(
        states,
        step=step,
        sensor_error_k=np.array([h.air.error_at(step) for h in heats]),
        drive_k=np.nan_to_num(np.abs(air - mean)),
    )
    pressures = _pressures(
        states,
        band=band,
        inputs=pressure_inputs([k.product for k in known]),
        site_kpa=np.array([h.site_kpa for h in heats]),
    )
    bases = [_basis(states[i : i + 1], heat=heats[i], step=step) for i in range(len(known))]
    outlooks = look(known, states=states, airs=AirsAhead(places, step), premises=premises, now=now)
    return [
        _estimate(
            drum,
            state=states[i : i + 1],
            step=step,
            band=_Row(band, i),
            pressure=Pressure(*(float(kpa[i]) for kpa in pressures)),
            basis=bases[i],
            heat=heats[i],
            outlook=outlooks[i],
            wet=_wet_air(heats[i], air_c=float(air[i])),
            default=OutputClass(
                premises.sites[premises.places[drum.facts.place].site_id].output_class
            ),
            now=now,
        )
        for i, drum in enumerate(known)
    ]


@dataclass(frozen=True)
class Pressure:
    """Computed gauge pressure of one drum, kPa: likely, its band, and at 55 °C as it is filled."""

    likely: float
    low: float
    high: float
    hot: float


def _pressures(
    states: LiquidStates, *, band: Band, inputs: PressureInputs, site_kpa: Floats
) -> tuple[Floats, Floats, Floats, Floats]:
    """Return what ``Pressure`` has, of every drum."""
    likely = gauge_kpa(states, mean_c=band.mean, inputs=inputs, site_kpa=site_kpa)
    low, high = gauge_span_kpa(
        states,
        mean_low_c=band.mean_low,
        mean_c=band.mean,
        mean_high_c=band.mean_high,
        inputs=inputs,
        site_kpa=site_kpa,
    )
    hot = hot_gauge_kpa(states, mean_c=band.mean, inputs=inputs, site_kpa=site_kpa)
    return likely, low, high, hot


class _Row:
    """One drum's column of a band, as plain numbers."""

    def __init__(self, band: Band, row: int) -> None:
        self._band, self._row = band, row

    def __getattr__(self, name: str) -> float:
        return float(getattr(self._band, name)[self._row])


def _wet_air(heat: PlaceHeat, *, air_c: float) -> WetAir | None:
    """Return the dew point where a drum stands; humidity assumed where none is measured."""
    if not np.isfinite(air_c):
        return None
    return wet_air(air_c=air_c, humidity=heat.humidity)


def _basis(state: LiquidStates, *, heat: PlaceHeat, step: int) -> Basis | None:
    record = state[0]
    if not np.isfinite(record["layers"]).all():
        return None
    if not record["resolved"] or record["doubt_k"] >= UNSUPPORTED_K:
        return Basis.UNSUPPORTED
    if disputed(state, step=step)[0]:
        return Basis.UNSUPPORTED
    if record["dip_step"] != NEVER and step - record["dip_step"] <= MEASURED_STEPS:
        return Basis.MEASURED
    known = heat.air.supported_at(step)
    return Basis.MODELLED if known else Basis.UNSUPPORTED


def _estimate(  # noqa: PLR0913 - a row of the table has this many sources
    drum: Known,
    *,
    state: LiquidStates,
    step: int,
    band: _Row,
    pressure: Pressure,
    basis: Basis | None,
    heat: PlaceHeat,
    outlook: DrumOutlook,
    wet: WetAir | None,
    default: OutputClass,
    now: datetime,
) -> Estimate:
    computed = _computed(band, basis, state=state, step=step) if basis is not None else None
    nowhere = float("nan")
    told = pressure if computed is not None and np.isfinite(pressure.likely) else None
    conditions = conditions_of(
        state,
        product=drum.product,
        bottom_low_c=computed.bottom_low_c if computed else nowhere,
        mean_c=computed.mean_c if computed else nowhere,
        pressure_kpa=told.likely if told else None,
    )
    age = age_of(state, product=drum.product, step=step)
    content = Content(
        age=age,
        agent=agent_loss(state, product=drum.product),
        redissolved=bool(state["redissolved"][0]),
        mixed_lots=bool(state["mixed_lots"][0]),
    )
    cold = was_cold(state, product=drum.product)
    verdicts: dict[str, Any] = {}
    for output in OutputClass:
        ahead = outlook.ahead.get(output, Ahead())
        verdict = judge(
            product=drum.product,
            facts=drum.facts,
            computed=computed,
            conditions=conditions,
            solids_seen=bool(state["solids"][0] == Solids.SEEN),
            output=output,
            pressure_kpa=told.likely if told else None,
            hot_kpa=pressure.hot,
            made_on=age.made_at,
            expires_at=age.expires_at,
            content=content,
            ahead=ahead,
            wet_air=wet,
            now=now,
        )
        pressed = Condition.PRESSURE in conditions
        verdicts[output.value] = record_of(verdict, ahead=ahead, pressed=pressed)
    output = drum.facts.wanted_output or default
    chosen = verdicts[output.value]
    return Estimate(
        drum_id=drum.drum_id,
        step=step,
        state=state.tobytes(),
        computed_at=now,
        supported_to=supported_to(heat.air),
        basis=basis.value if basis is not None else None,
        bottom_c=computed.bottom_c if computed else None,
        bottom_low_c=computed.bottom_low_c if computed else None,
        bottom_high_c=computed.bottom_high_c if computed else None,
        mean_c=computed.mean_c if computed else None,
        mean_low_c=computed.mean_low_c if computed else None,
        mean_high_c=computed.mean_high_c if computed else None,
        top_c=computed.top_c if computed else None,
        low_c=computed.low_c if computed else None,
        high_c=computed.high_c if computed else None,
        pressure_kpa=told.likely if told else None,
        pressure_low_kpa=told.low if told else None,
        pressure_high_kpa=told.high if told else None,
        dew_c=wet.dew_c if wet else None,
        dew_margin_k=wet.margin_k(computed.low_c) if wet and computed else None,
        humidity=wet.humidity if wet else None,
        humidity_assumed=wet.assumed if wet else None,
        was_cold_c=cold[0] if cold else None,
        was_cold_hours=cold[1] if cold else None,
        conditions=sorted(condition.value for condition in conditions),
        verdicts=verdicts,
        readiness=chosen["state"],
        ready_at=from_iso(chosen["ready_at"]),
        outlook={
            **outlook.as_json(),
            "open_since": iso(drum.facts.open_since),
            "recheck_since": iso(drum.facts.recheck.since if drum.facts.recheck else None),
        },
    )


def _computed(band: _Row, basis: Basis, *, state: LiquidStates, step: int) -> Computed:
    stands = bool(disputed(state, step=step)[0])
    return Computed(
        bottom_c=band.bottom,
        mean_c=band.mean,
        top_c=band.top,
        bottom_low_c=band.bottom_low,
        bottom_high_c=band.bottom_high,
        mean_low_c=band.mean_low,
        mean_high_c=band.mean_high,
        low_c=band.low,
        high_c=band.high,
        basis=basis,
        refused_k=float(state["refused_k"][0]) if stands else None,
        unmeasured=not state["resolved"][0],
    )
