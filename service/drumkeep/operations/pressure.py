"""What is computed of the pressure of a drum, from what is stored of it."""

from drumkeep.domain.condensation import WetAir
from drumkeep.domain.liquid_state import states_from_bytes
from drumkeep.domain.pressure_report import Gauge, PressureReport, pressure_report
from drumkeep.domain.products import Product
from drumkeep.domain.un_mark import parse
from drumkeep.storage.drums import StockRow
from drumkeep.storage.tables.estimates import Estimate
from drumkeep.thermal.headspace import site_pressure_kpa


def report_of(row: StockRow, *, product: Product) -> PressureReport | None:
    """Return the report on a drum; None before it was computed, and once it is gone."""
    estimate = row.estimate
    if estimate is None or row.drum.ended is not None:
        return None
    mark = row.drum.un_mark
    return pressure_report(
        product=product,
        states=states_from_bytes([estimate.state]),
        net_kg=row.drum.net_kg,
        mark=None if mark is None else parse(mark),
        site_kpa=site_pressure_kpa(row.site.altitude_m),
        now=_now(estimate),
        wet=_wet(estimate),
        dew_margin_k=estimate.dew_margin_k,
    )


def _now(estimate: Estimate) -> Gauge | None:
    likely, low, high = (
        estimate.pressure_kpa,
        estimate.pressure_low_kpa,
        estimate.pressure_high_kpa,
    )
    if likely is None or low is None or high is None:
        return None
    return Gauge(likely=likely, low=low, high=high)


def _wet(estimate: Estimate) -> WetAir | None:
    if estimate.dew_c is None or estimate.humidity is None:
        return None
    return WetAir(
        dew_c=estimate.dew_c,
        humidity=estimate.humidity,
        assumed=bool(estimate.humidity_assumed),
    )
