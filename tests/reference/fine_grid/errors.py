r"""How far the layer model is from every fine-grid curve; and its table for the service.

    python -m tests.reference.fine_grid.errors

prints the rows of ``service/drumkeep/thermal/model_error.py``, worst bottom first. Every curve goes
through ``forecast``, as somebody asks who knows the drum's films and the liquid's properties.
"""

from dataclasses import dataclass

import numpy as np

from drumkeep.domain.forecasts import AirPoint, Forecast, ForecastRequest, forecast
from drumkeep.domain.products import Side
from drumkeep.thermal.boundary import Exposure
from drumkeep.thermal.model_error import Case as Row
from tests.reference.fine_grid.cases import Case, calibration, check, given
from tests.reference.fine_grid.grid import Floats

PROPERTIES = (
    "density_kg_m3",
    "specific_heat_j_kgk",
    "conductivity_w_mk",
    "expansion_1_k",
    "kinematic_viscosity_m2_s",
)
STEP_H = 1.0 / 12.0


@dataclass(frozen=True)
class Compared:
    """One curve and our forecast of it."""

    case: Case
    ours: Forecast

    @property
    def hours(self) -> Floats:
        return self.case.curves["h"]

    def at_its_times(self, ours: list[float]) -> Floats:
        return np.asarray(np.interp(self.hours, self.ours.h, ours))

    @property
    def mean_k(self) -> Floats:
        """Ours minus the curve's, K; as the other two."""
        return self.at_its_times(self.ours.mean_c) - self.case.curves["mean"]

    @property
    def bottom_k(self) -> Floats:
        return self.at_its_times(self.ours.bottom_c) - self.case.layers_c[:, 0]

    @property
    def top_k(self) -> Floats:
        return self.at_its_times(self.ours.top_c) - self.case.layers_c[:, -1]

    def covered(self, curve: Floats) -> float:
        """Share of the times at which low_c … high_c holds a curve."""
        low, high = self.at_its_times(self.ours.low_c), self.at_its_times(self.ours.high_c)
        return float(np.mean((low <= curve) & (curve <= high)))

    @property
    def row(self) -> Row:
        bottom = self.bottom_k
        return Row(
            name=self.case.name,
            kind=self.case.set,
            depth_m=self.case.depth_m,
            viscosity_m2_s=self.case.kinematic_viscosity_m2_s,
            side_w_m2k=self.case.side_w_m2k,
            mean_k=_rounded(np.abs(self.mean_k).max()),
            bottom_rms_k=_rounded(np.sqrt(np.mean(bottom**2))),
            bottom_warm_k=_rounded(max(bottom.max(), 0.0)),
            bottom_cold_k=_rounded(max(-bottom.min(), 0.0)),
            top_k=_rounded(np.abs(self.top_k).max()),
        )


def compare(case: Case) -> Compared:
    """Forecast a case and put it beside its curve."""
    ours = forecast(
        ForecastRequest(
            side=Side(case.side),
            start_c=case.start_c,
            air=tuple(AirPoint(h=h, c=c) for h, c in case.air),
            net_kg=case.net_kg,
            # the given rows lie up to half a second past the half hour
            hours=float(case.curves["h"][-1]) + 1.0,
            step_h=STEP_H,
            exposure=Exposure(
                side_w_m2k=case.side_w_m2k,
                top_w_m2k=case.top_w_m2k,
                bottom_w_m2k=case.bottom_w_m2k,
            ),
            properties={name: getattr(case, name) for name in PROPERTIES},
        )
    )
    return Compared(case=case, ours=ours)


def compare_all() -> list[Compared]:
    """Return the check curves first: no figure of the model was fitted to them."""
    return [compare(case) for case in (*check(), *given(), *calibration())]


def _rounded(kelvin: float) -> float:
    return round(float(kelvin), 2) + 0.0  # no −0


if __name__ == "__main__":
    rows = [compared.row for compared in compare_all()]
    for row in sorted(rows, key=lambda row: -max(row.bottom_warm_k, row.bottom_cold_k)):
        values = (
            f'"{value}"' if isinstance(value, str) else f"{value:g}"
            for value in row.__dict__.values()
        )
        print(f"    Case({', '.join(values)}),")  # noqa: T201 - a table for a module
