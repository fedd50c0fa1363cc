"""A drum's pressure as the API answers it: SI, sentences filled in."""

from math import isfinite

from drumkeep.api.schemas.drums import DewPointOut, MarkCheckOut, PressureOut, UnMarkOut
from drumkeep.domain.pressure_report import PressureReport
from drumkeep.domain.wording import plain


def pressure_out(report: PressureReport) -> PressureOut:
    """Answer what is computed of a drum's pressure, fill and mark."""
    now, fill = report.now, report.filling
    return PressureOut(
        sealed=report.sealed,
        likely_kpa=now.likely if now else None,
        low_kpa=now.low if now else None,
        high_kpa=now.high if now else None,
        at_55_c_kpa=report.hot_kpa,
        site_absolute_kpa=report.site_kpa,
        headspace_m3=report.headspace_m3,
        fill=fill.fill,
        most_fill_at_55_c=fill.most_fill,
        most_net_kg_at_55_c=fill.most_kg,
        adr_fill=fill.adr_fill,
        adr_net_kg=fill.adr_kg,
        full_of_liquid_at_c=fill.full_c if isfinite(fill.full_c) else None,
        agent_at_50_c_absolute_kpa=report.agent_50_kpa,
        agent_at_55_c_absolute_kpa=report.agent_55_kpa,
        un_mark=_mark_out(report),
        dew_point=_dew_point_out(report),
        said=[*(f"{name}: {plain(text)}" for name, text in report.facts()), *report.cautions],
    )


def _mark_out(report: PressureReport) -> UnMarkOut | None:
    mark = report.mark
    if mark is None:
        return None
    return UnMarkOut(
        text=mark.text,
        material=mark.material,
        head=mark.head,
        packing_groups=list(mark.packing_groups),
        max_relative_density=mark.max_relative_density,
        test_kpa=mark.test_kpa,
        gauge_at_55_c_limit_kpa=mark.gauge_55_kpa,
        vapour_at_50_c_limit_kpa=mark.vapour_50_kpa,
        vapour_at_55_c_limit_kpa=mark.vapour_55_kpa,
        checks=[
            MarkCheckOut(rule=c.rule, holds=c.holds, said=plain(c.text)) for c in report.checks
        ],
    )


def _dew_point_out(report: PressureReport) -> DewPointOut | None:
    if report.wet is None or report.dew_margin_k is None:
        return None
    return DewPointOut(
        dew_c=report.wet.dew_c,
        humidity_percent=report.wet.humidity,
        humidity_assumed=report.wet.assumed,
        margin_k=report.dew_margin_k,
    )
