"""``drumkeep forecast``: what if a drum stood in such air; needs no service and no database."""

import argparse
import json
import os
import sys
from typing import Final

from fastapi.exceptions import RequestValidationError
from pydantic import ValidationError

from drumkeep.api.schemas.forecasts import ForecastIn, ForecastOut
from drumkeep.asgi.faults import validation_faults
from drumkeep.asgi.middleware import MAX_BODY
from drumkeep.asgi.soundness import json_fault
from drumkeep.domain.forecasts import forecast
from drumkeep.errors import Fault, Invalid

_TITLE: Final = "The forecast cannot be computed as asked."
_STANDARD_INPUT: Final = "-"
_EXAMPLE: Final = """\
The body and the answer are those of POST /api/v1/forecasts, for example
  {"side": "iso", "start_c": 21, "air_c": -7, "hours": 24, "targets_c": [10]}
or, with air that changes on straight lines,
  {"side": "resin", "layers_c": [4, 4, 4, 5, 5, 6, 8, 11],
   "air_c": [{"h": 0, "c": 4}, {"h": 6, "c": 27}], "setting": {"motion": "fan"}}
or, a gelled drum in a sunny yard with a wind of 9 m/s,
  {"side": "resin", "start_c": 12, "air_c": 5, "flow": "none",
   "setting": {"wind_m_s": 9, "sun_w_m2": 400, "standing": "slab", "floor_c": 2}}
"""


def add_parser(subparsers: "argparse._SubParsersAction[argparse.ArgumentParser]") -> None:
    """Add the subcommand."""
    parser = subparsers.add_parser(
        "forecast",
        help="compute the liquid of one drum under given air",
        epilog=_EXAMPLE,
        formatter_class=argparse.RawDescriptionHelpFormatter,
    )
    parser.add_argument("file", metavar="FILE", help="JSON; - reads standard input")
    parser.set_defaults(run=_run)


def _run(arguments: argparse.Namespace) -> int:
    asked = _asked(_parsed(_read(arguments.file)))
    answer = ForecastOut.model_validate(forecast(asked.request()))
    try:
        sys.stdout.write(answer.model_dump_json() + "\n")
        sys.stdout.flush()
    except BrokenPipeError:
        # Whoever read has enough; Python would complain once more when it closes the stream.
        os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())
    return 0


def _read(name: str) -> bytes:
    """Read a file, or standard input, up to the size that the service takes."""
    standard = name == _STANDARD_INPUT
    try:
        with open(0 if standard else name, "rb", closefd=not standard) as source:
            body = source.read(MAX_BODY + 1)
    except (OSError, ValueError) as error:
        problem = f"cannot be read: {getattr(error, 'strerror', None) or error}"
        mend = "Name a file that holds the JSON, or - for standard input."
        raise Invalid(_TITLE, [Fault("FILE", name, problem, mend)]) from None
    if len(body) > MAX_BODY:
        mend = "Give fewer points of air."
        raise Invalid(_TITLE, [Fault("FILE", name, "is larger than 1 MiB", mend)])
    return body


def _parsed(body: bytes) -> object:
    try:
        data: object = json.loads(body)
    except (json.JSONDecodeError, UnicodeDecodeError) as error:
        problem = f"is not JSON: {error}"
    except (ValueError, RecursionError):
        problem = "cannot be read: a number is too long, or the nesting too deep"
    else:
        fault = json_fault(data)
        if fault is None:
            return data
        raise Invalid(_TITLE, [fault])
    mend = "Send JSON (RFC 8259) in UTF-8."
    raise Invalid(_TITLE, [Fault("FILE", None, problem, mend)])


def _asked(data: object) -> ForecastIn:
    try:
        return ForecastIn.model_validate(data)
    except ValidationError as error:
        # as the service has it, so that both say the same
        found = [{**one, "loc": ("body", *one["loc"])} for one in error.errors()]
        raise Invalid(_TITLE, validation_faults(RequestValidationError(found))) from None
