"""A form with a sample to try, whose other button keeps it: other devices' JSON, and Sparkplug."""

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Final

from fastapi.responses import HTMLResponse

from drumkeep.domain.roles import Action, may
from drumkeep.errors import Fault
from drumkeep.operations.foreign import ForeignReadings
from drumkeep.operations.sparkplug_metrics import Metrics
from drumkeep.storage import catalogue
from drumkeep.storage.transaction import Tx
from drumkeep.web.shell import Shell
from drumkeep.web.views.mappings import trial_view

_MOST: Final = 10_000
_UNUSABLE: Final = 422


@dataclass(frozen=True, slots=True)
class Given:
    """The form as it was sent: what it holds, what was wrong, what the sample would become."""

    fields: Mapping[str, str]
    faults: tuple[Fault, ...] = ()
    tried: ForeignReadings | Metrics | None = None


def trial_page(tx: Tx, shell: Shell, page: str, given: Given, **known: object) -> HTMLResponse:
    """Answer with the page of such a form.

    Parameters
    ----------
    page
        Its address and its template's name.
    known
        What it shows of those that are kept.
    """
    gateways = catalogue.list_gateways(tx, limit=_MOST)
    names = catalogue.gateway_references(tx, ids=[row.id for row in gateways])
    answer = shell.answer(
        f"{page}.html",
        tx=tx,
        page=page,
        formats=shell.formats,
        given=given.fields,
        faults=given.faults,
        tried=None if given.tried is None else trial_view(given.tried, formats=shell.formats),
        gateways=sorted(names.values()),
        may_change=may(shell.caller.role, Action.CHANGE_CATALOGUE),
        **known,
    )
    if given.faults:
        answer.status_code = _UNUSABLE
    return answer
