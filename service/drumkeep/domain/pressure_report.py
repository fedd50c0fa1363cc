"""All that is computed of one drum's pressure, fill and mark, in figures and in sentences."""

from collections.abc import Iterator
from dataclasses import dataclass
from math import isfinite
from typing import Final

import numpy as np

from drumkeep.domain.condensation import DEW_MARGIN_K, WetAir
from drumkeep.domain.filling import Filling, filling_of
from drumkeep.domain.liquid_pressure import (
    VACUUM_KPA,
    PressureInputs,
    activity_range,
    expanding,
    hot_gauge_kpa,
    pressure_inputs,
)
from drumkeep.domain.liquid_state import LiquidStates, likely_mean
from drumkeep.domain.products import Product, Side
from drumkeep.domain.un_mark import UnMark, least_test_kpa
from drumkeep.domain.wording import mass, pressure, temperature
from drumkeep.thermal.constants import DRUM_BRIM_M3
from drumkeep.thermal.headspace import ADR_C, FILL_C, HOT_C

MODEL_CAUTION: Final = (
    "Computed, not measured: no vapour pressure of a real blend is published, and water in iso "
    "makes gas that is not in it. The supplier and the drum's maker come first."
)
MARK_CAUTION: Final = (
    "Of the three rules on pressure one is enough, and the text of the regulations rules. The mark "
    "is no limit to work by: a drum bulges long before."
)
_WATER_KG_M3: Final = 1000.0
_SAME_KPA: Final = 0.7
"""Less than a tenth of a psi: the weather moves the air outside by more."""


@dataclass(frozen=True)
class Gauge:
    """Gauge pressure now, kPa: likely, and its band."""

    likely: float
    low: float
    high: float


_MADE_OF: Final = {
    "steel": "drum of steel",
    "aluminium": "drum of aluminium",
    "other metal": "drum of other metal",
    "plastics": "drum of plastics",
}
_HEADS: Final = {"closed": "closed head", "open": "open head"}
_RULES: Final = {
    "pressure": ("Mark: pressure", "Mark: pressure, not held"),
    "vapour": ("Mark: vapour", "Mark: vapour, not held"),
    "density": ("Mark: density", "Mark: density, not held"),
}
"""What a check against the mark is called, where it holds and where not."""


@dataclass(frozen=True)
class MarkCheck:
    """One rule of the UN mark, whether it holds, and the figures in a sentence with marks."""

    rule: str
    holds: bool
    text: str


@dataclass(frozen=True)
class PressureReport:
    """One drum's pressure; kPa gauge unless said otherwise.

    ``now`` is None where its temperature is not known, ``hot_kpa`` (at 55 °C as it is filled) where
    liquid fills it by then. ``agent_50_kpa`` and ``agent_55_kpa`` are the agent's partial pressures
    over the blend, kPa absolute. ``dew_margin_k`` is how far its coldest surface lies above the dew
    point of the air round it.
    """

    product: Product
    sealed: bool
    regulated_kpa: float | None
    sealed_c: float
    now: Gauge | None
    mean_c: float | None
    hot_kpa: float | None
    site_kpa: float
    headspace_m3: float
    agent_50_kpa: float
    agent_55_kpa: float
    filling: Filling
    mark: UnMark | None
    wet: WetAir | None
    dew_margin_k: float | None

    @property
    def checks(self) -> tuple[MarkCheck, ...]:
        """What its mark says to it: pressure by three rules, then density."""
        mark = self.mark
        if mark is None:
            return ()
        relative = expanding(self.product)[0] / _WATER_KG_M3
        return (
            _hot_check(self.hot_kpa, mark),
            _under(self.agent_50_kpa, mark.vapour_50_kpa, at_c=ADR_C),
            _under(self.agent_55_kpa, mark.vapour_55_kpa, at_c=HOT_C),
            _density_check(relative, mark),
        )

    @property
    def cautions(self) -> tuple[str, ...]:
        """What stands beside the figures."""
        return (MODEL_CAUTION,) if self.mark is None else (MODEL_CAUTION, MARK_CAUTION)

    def facts(self) -> Iterator[tuple[str, str]]:
        """Return what is to be shown, as name and sentence with marks."""
        yield "Pressure", self._now_words()
        yield "If it gets hot", self._hot_words()
        yield "Fill", self._fill_words()
        if self.product.side is Side.RESIN:
            yield "Blowing agent", self._agent_words()
        yield "Air outside", f"{pressure(self.site_kpa)} absolute, by the altitude of the site."
        if self.wet is not None and self.dew_margin_k is not None:
            yield "Dew point", self._dew_words(self.wet, self.dew_margin_k)
        yield "UN mark", self._mark_words()
        for check in self.checks:
            held, not_held = _RULES[check.rule]
            yield held if check.holds else not_held, check.text

    def _now_words(self) -> str:
        if self.regulated_kpa is not None:
            return f"{pressure(self.regulated_kpa)} of dry gas, held by its regulator."
        if not self.sealed:
            return "None: it is open."
        if self.now is None:
            return "Not known, for its temperature is not."
        likely = _against_air(self.now.likely)
        begun = f"{likely[0].upper()}{likely[1:]}"
        course = (
            f"{_signed(self.now.low)} to {_signed(self.now.high)} over the band of its temperature"
        )
        if max(abs(self.now.low), abs(self.now.likely), abs(self.now.high)) < _SAME_KPA:
            course = "so it stays over the band of its temperature"
        low, high = activity_range(self.product)
        if self.product.side is Side.RESIN and low < high:
            course = f"{course} and of how the blend holds its agent (activity {low:g} to {high:g})"
        words = f"{begun}, computed; {course}."
        if self.now.likely > VACUUM_KPA or self.mean_c is None:
            return words
        return (
            f"{words} It was sealed at {temperature(self.sealed_c)} and is at "
            f"{temperature(self.mean_c)} now: a vacuum, which may dent it and draws wet air in "
            "when a bung is turned."
        )

    def _hot_words(self) -> str:
        if self.hot_kpa is None:
            return f"Full of liquid from {temperature(self.filling.full_c)} on: keep it cool."
        hot, against = temperature(HOT_C), _against_air(self.hot_kpa)
        if self.sealed:
            return f"At {hot} {against}, as it is filled and sealed."
        return f"At {hot} {against}, as it is filled, closed now."

    def _fill_words(self) -> str:
        fill = self.filling
        gas = self.headspace_m3 / DRUM_BRIM_M3
        return (
            f"{_percent(fill.fill)} of the brim at {temperature(FILL_C)}; {_percent(gas)} of the "
            f"drum is gas now. Most that is not full of liquid at {temperature(HOT_C)}: "
            f"{mass(fill.most_kg)} ({_percent(fill.most_fill)}); ADR and IMDG allow "
            f"{mass(fill.adr_kg)} ({_percent(fill.adr_fill)})."
        )

    def _agent_words(self) -> str:
        own = self.product.properties
        agent = own.blowing_agent
        if agent is None:
            return "None on record."
        words = (
            f"{agent.name}, {_percent(own.agent_mass_fraction)} by mass: "
            f"{pressure(self.agent_55_kpa)} absolute over the blend at {temperature(HOT_C)}, by "
            "Raoult's law."
        )
        reached = [c for c in (self.mean_c, HOT_C) if c is not None]
        if min(reached) < agent.low_c or max(reached) > agent.high_c:
            return (
                f"{words} Its equation holds from {temperature(agent.low_c)} to "
                f"{temperature(agent.high_c)} only; beyond, the pressure is a guess."
            )
        return words

    def _dew_words(self, wet: WetAir, margin_k: float) -> str:
        words = f"{temperature(wet.dew_c)} in the air around it ({wet.words})."
        if margin_k < DEW_MARGIN_K:
            return f"{words} Steel under {wet.limit} may sweat: this drum's may."
        return f"{words} Steel under {wet.limit} may sweat: this drum's is warmer."

    def _mark_words(self) -> str:
        # On the steel a test pressure is a bare number of kPa, whatever units its reader prefers.
        mark = self.mark
        if mark is None:
            least = least_test_kpa(self.agent_55_kpa)
            return (
                "Not known: read it off the steel, like UN 1A1/Y1.4/150/…, and record it with the "
                "receipt. By its vapour pressure this liquid asks for a test pressure of "
                f"{pressure(least)} or more, {least:.0f} in a mark."
            )
        groups = " and ".join(mark.packing_groups)
        return (
            f"{mark.text}: {_MADE_OF[mark.material]}, {_HEADS[mark.head]}, for packing groups "
            f"{groups}, tested at {pressure(mark.test_kpa)}, its {mark.test_kpa:.0f}."
        )


def pressure_report(
    *,
    product: Product,
    states: LiquidStates,
    net_kg: float,
    mark: UnMark | None,
    site_kpa: float,
    now: Gauge | None,
    wet: WetAir | None = None,
    dew_margin_k: float | None = None,
) -> PressureReport:
    """Return the report on one drum.

    Parameters
    ----------
    product, net_kg, mark
        What is in it, how much, and what its steel was tested for.
    states
        Its record, shape (1,).
    site_kpa
        Air pressure where it stands, kPa.
    now
        Its pressure as computed; None where unknown.
    wet, dew_margin_k
        The air round it, and how far its coldest surface lies above that air's dew point.
    """
    inputs = pressure_inputs([product])
    site = np.array([site_kpa])
    mean = likely_mean(states)
    known = bool(np.isfinite(mean[0]))
    hot = float(hot_gauge_kpa(states, mean_c=mean, inputs=inputs, site_kpa=site)[0])
    held = float(states["regulated_kpa"][0])
    gas = inputs.headspace_m3(
        states["mass_kg"], temperature_c=mean if known else np.array([FILL_C])
    )
    return PressureReport(
        product=product,
        sealed=bool(states["sealed"][0]),
        regulated_kpa=held if isfinite(held) else None,
        sealed_c=float(states["seal_c"][0]),
        now=now,
        mean_c=float(mean[0]) if known else None,
        hot_kpa=hot if isfinite(hot) else None,
        site_kpa=site_kpa,
        headspace_m3=float(gas[0]),
        agent_50_kpa=_agent_at(inputs, ADR_C),
        agent_55_kpa=_agent_at(inputs, HOT_C),
        filling=filling_of(product, net_kg=net_kg),
        mark=mark,
        wet=wet,
        dew_margin_k=dew_margin_k,
    )


def _agent_at(inputs: PressureInputs, c: float) -> float:
    return float(inputs.agent_kpa(np.array([c]))[0])


def _hot_check(hot_kpa: float | None, mark: UnMark) -> MarkCheck:
    limit = pressure(mark.gauge_55_kpa)
    if hot_kpa is None:
        return MarkCheck(
            rule="pressure", holds=False, text=f"At {temperature(HOT_C)} it is full of liquid."
        )
    at_hot = f"{_signed(hot_kpa)} at {temperature(HOT_C)} as it is filled"
    if hot_kpa <= mark.gauge_55_kpa:
        held = f"{at_hot}: within two thirds of the test pressure, {limit}."
        return MarkCheck(rule="pressure", holds=True, text=held)
    over = f"{at_hot}: over two thirds of the test pressure, {limit}."
    return MarkCheck(rule="pressure", holds=False, text=over)


def _under(kpa: float, limit: float, *, at_c: float) -> MarkCheck:
    what = f"No agent in it at {temperature(at_c)}"
    if kpa > 0.0:
        what = f"Agent over the blend {pressure(kpa)} absolute at {temperature(at_c)}"
    if kpa < limit:
        under = f"{what}: under the mark's {pressure(limit)}."
        return MarkCheck(rule="vapour", holds=True, text=under)
    over = f"{what}: not under the mark's {pressure(limit)}."
    return MarkCheck(rule="vapour", holds=False, text=over)


def _density_check(relative: float, mark: UnMark) -> MarkCheck:
    most = f"{mark.max_relative_density:g}"
    if not mark.density_marked:
        most = f"{most}, which holds where none is named"
    if relative <= mark.max_relative_density:
        within = f"Relative density {relative:.2f}: within the mark's {most}."
        return MarkCheck(rule="density", holds=True, text=within)
    over = f"Relative density {relative:.2f}: over the mark's {most}."
    return MarkCheck(rule="density", holds=False, text=over)


def _against_air(kpa: float) -> str:
    if abs(kpa) < _SAME_KPA:
        return "about the same as the air outside"
    if kpa < 0.0:
        return f"{pressure(-kpa)} below the air outside"
    return f"{pressure(kpa)} above the air outside"


def _signed(kpa: float) -> str:
    if abs(kpa) < 0.5 * _SAME_KPA:
        return pressure(0.0)
    return f"{pressure(abs(kpa))} below" if kpa < 0.0 else pressure(kpa)


def _percent(share: float) -> str:
    return f"{share * 100.0:.1f} %"
