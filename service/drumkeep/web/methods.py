"""How the numbers are made: laws, figures, sources and limits, printed from the code itself."""

from typing import Any, Final

from fastapi import APIRouter
from fastapi.responses import HTMLResponse

from drumkeep.asgi.dependencies import ReadingDep
from drumkeep.domain import (
    air,
    air_habits,
    condensation,
    constancy,
    film,
    heaters,
    liquid_agent,
    liquid_heaters,
    liquid_measured,
    liquid_memory,
    liquid_observed,
    liquid_pressure,
    liquid_state,
    neighbours,
    places,
    plausibility,
    sun,
)
from drumkeep.domain.alarm_rules.cold import DELAY_STEPS, SAT_COLD_HOURS
from drumkeep.domain.alarm_rules.condensation import WANTED_WITHIN
from drumkeep.domain.alarm_rules.plans import READY_BEFORE, SHELF_DAYS, WARM_UP_NOTICE
from drumkeep.domain.alarm_rules.stored import DELAY_STEPS as STORED_DELAY_STEPS
from drumkeep.domain.alarm_rules.watch import BLANKET_WITHIN, SILENT_INTERVALS, SILENT_LEAST
from drumkeep.domain.grid import STEP_SECONDS
from drumkeep.domain.outlook import ALARM_HOURS, READY_HOURS
from drumkeep.language.tongue import ENGLISH
from drumkeep.thermal import (
    ageing,
    agent_loss,
    band,
    boundary,
    constants,
    convection,
    headspace,
    kernel,
    parameter_sets,
    properties,
    solar,
    solids,
)
from drumkeep.thermal.model_error import CASES, Case
from drumkeep.web.shell import ShellDep
from drumkeep.web.view_models import Units
from drumkeep.web.views.methods import PRODUCTS, method_plots

router = APIRouter()

SECTIONS: Final = (
    ("liquid", "The liquid"),
    ("films", "Air, films and floors"),
    ("heat", "Sun and heaters"),
    ("properties", "Properties by temperature"),
    ("band", "How sure it is"),
    ("measured", "What a measurement does"),
    ("unsupported", "Sensors and times without readings"),
    ("memory", "Cold, age and blowing agent"),
    ("pressure", "Pressure, fill and moisture"),
    ("ahead", "The days ahead"),
    ("alarms", "Alarms"),
    ("limits", "What is not known"),
)

_MODULES: Final = (
    *(air, air_habits, ageing, agent_loss, band, boundary, condensation, constancy, constants),
    *(convection, film, headspace, heaters, kernel, liquid_agent, liquid_heaters),
    *(liquid_measured, liquid_memory, liquid_observed, liquid_pressure, liquid_state, neighbours),
    *(parameter_sets, places, plausibility, properties, solar, solids, sun),
)
_CODE: Final[dict[str, object]] = {m.__name__.rpartition(".")[2]: m for m in _MODULES}
"""Modules by name: the templates print their numbers, so that none is typed twice."""

_RULES: Final[dict[str, object]] = {
    "cold_minutes": DELAY_STEPS * STEP_SECONDS // 60,
    "sat_cold_hours": SAT_COLD_HOURS,
    "stored_minutes": STORED_DELAY_STEPS * STEP_SECONDS // 60,
    "sweats_within": WANTED_WITHIN,
    "warm_up_notice": WARM_UP_NOTICE,
    "ready_before": READY_BEFORE,
    "shelf_days": SHELF_DAYS,
    "blanket_within": BLANKET_WITHIN,
    "silent_intervals": SILENT_INTERVALS,
    "silent_least": SILENT_LEAST,
    "alarm_hours": ALARM_HOURS,
    "ready_hours": READY_HOURS,
}
"""Of the alarms and the look ahead."""


def methods_context(units: Units, language: str = ENGLISH) -> dict[str, Any]:
    """Return what the page's template needs beside the viewer."""
    return {
        "sections": SECTIONS,
        "plots": method_plots(units, language),
        "products": PRODUCTS,
        "cases": sorted(CASES, key=_worst, reverse=True),
        "code": _CODE,
        "rules": _RULES,
        "step_minutes": STEP_SECONDS // 60,
    }


def _worst(case: Case) -> float:
    return max(case.bottom_warm_k, case.bottom_cold_k, case.mean_k)


@router.get("/methods")
def methods_page(tx: ReadingDep, shell: ShellDep) -> HTMLResponse:
    """Show how the numbers are made."""
    return shell.answer(
        "methods.html",
        tx=tx,
        page="methods",
        **methods_context(shell.formats.units, shell.formats.language),
    )
