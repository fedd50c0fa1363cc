"""Tells systemd that the gateway is up, and again and again that it is alive (sd_notify(3)).

A gateway that hangs is then ended and started anew. Without systemd nobody is told.
"""

import logging
import os
import socket
import time
from collections.abc import Callable
from typing import Final

_log = logging.getLogger(__name__)

TIMES_IN_TIME: Final = 3
"""How often in the time that systemd waits it is told."""

_MICRO: Final = 1e-6


class Supervision:
    """Whoever watches this process, if anybody does.

    Parameters
    ----------
    clock
        Seconds that nothing sets.
    """

    def __init__(self, *, clock: Callable[[], float] = time.monotonic) -> None:
        self._clock = clock
        address = os.environ.get("NOTIFY_SOCKET", "")
        # One that begins with @ has no file (unix(7)).
        self._address = f"\0{address[1:]}" if address.startswith("@") else address
        within_s = int(os.environ.get("WATCHDOG_USEC", "0")) * _MICRO
        self._every_s = within_s / TIMES_IN_TIME
        self._due_at = clock()

    def ready(self) -> None:
        """Tell that it has come up."""
        self._tell("READY=1")

    def alive(self) -> None:
        """Tell that it is alive, when it is time to."""
        now = self._clock()
        if self._every_s > 0 and now >= self._due_at:
            self._due_at = now + self._every_s
            self._tell("WATCHDOG=1")

    def _tell(self, what: str) -> None:
        if not self._address:
            return
        with socket.socket(socket.AF_UNIX, socket.SOCK_DGRAM) as speaking:
            speaking.settimeout(0)
            try:
                speaking.sendto(what.encode(), self._address)
            except OSError as error:
                _log.warning("systemd could not be told %s: %s", what, error)
