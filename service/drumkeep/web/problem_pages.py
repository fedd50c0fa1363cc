"""Problems at addresses meant for people, as pages."""

import re

from fastapi import Request, Response

from drumkeep.asgi.problems import Problem, shown
from drumkeep.language.tongue import tongue
from drumkeep.web.form_faults import about_it
from drumkeep.web.language import language_of
from drumkeep.web.shell import answer_anybody, sign_in_first
from drumkeep.web.view_models import FaultView, ProblemView

_MACHINES = ("/api/", "/health", "/ready", "/metrics", "/openapi.json", "/live")
_UNAUTHENTICATED = 401
_NUMBER_IN_LIST = re.compile(r"\.\d+(?=\.|$)")
_TITLES = {
    404: "There is no page at this address.",
    405: "This page does not take what was sent.",
}


def problem_page(request: Request, problem: Problem) -> Response | None:
    """Show a problem to a person; None leaves it to problem+json."""
    path = request.url.path
    if path.startswith(_MACHINES) or path.endswith(".json"):
        return None
    if problem.status == _UNAUTHENTICATED:
        return sign_in_first(request)
    spoken = tongue(language_of(request))
    view = ProblemView(
        status=problem.status,
        title=problem.title if problem.faults else _TITLES.get(problem.status, problem.title),
        detail="" if problem.faults or request.method == "GET" else "Nothing was changed.",
        faults=tuple(
            FaultView(
                name=_name(fault.field),
                value="" if fault.value is None else str(shown(fault.value)),
                mend=about_it(fault, spoken),
            )
            for fault in problem.faults
        ),
        back=_back(request),
        back_words="Go back" if _back(request) != "/floor" else "Go to the floor",
    )
    answer = answer_anybody(request, "problem.html", status=problem.status, problem=view)
    answer.headers.update(problem.headers)
    return answer


def _name(field: str) -> str:
    """Return a field as a label: ``tag`` becomes Tag, ``drums.0`` Drums."""
    if field == "id":
        return "This form"
    name = _NUMBER_IN_LIST.sub("", field)
    return f"{name[:1].upper()}{name[1:]}" if name else "The request"


def _back(request: Request) -> str:
    """Return the page that a form was on."""
    if request.method == "POST" and request.url.path.startswith("/drums/"):
        return request.url.path.removesuffix("/events")
    if request.method == "POST" and request.url.path.startswith("/products/"):
        return request.url.path.removesuffix("/points")
    if request.url.path == "/labels":
        return "/labels"
    return "/floor"
