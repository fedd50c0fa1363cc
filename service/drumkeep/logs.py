"""Logging to standard error: one line each, in UTC, with the id of the request it belongs to."""

import logging
import time
from typing import Final

from drumkeep.asgi.middleware import request_id

_FORMAT: Final = "%(asctime)s.%(msecs)03dZ %(levelname)s %(name)s [%(request)s] %(message)s"


def set_up(*, level: int = logging.INFO) -> None:
    """Send what drumkeep and its libraries log to standard error."""
    handler = logging.StreamHandler()
    formatter = logging.Formatter(_FORMAT, datefmt="%Y-%m-%dT%H:%M:%S", defaults={"request": "-"})
    formatter.converter = time.gmtime
    handler.setFormatter(formatter)
    handler.addFilter(_add_request)
    logging.basicConfig(level=level, handlers=[handler], force=True)
    # They say each migration step and each job run, which is no news.
    for noisy in ("alembic", "apscheduler"):
        logging.getLogger(noisy).setLevel(logging.WARNING)


def _add_request(record: logging.LogRecord) -> bool:
    record.request = request_id.get() or "-"
    return True
