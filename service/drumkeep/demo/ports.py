"""Ports of this machine: which is free, which is taken, where somebody answers."""

import errno
import socket
from contextlib import suppress
from typing import Final

from drumkeep.errors import Unavailable

EVERYWHERE: Final = "0.0.0.0"  # noqa: S104 - a phone on the same network is to open it
LOOPBACK: Final = "127.0.0.1"


def refuse_taken(port: int) -> None:
    """Look whether a port is free, before anything is begun.

    Raises
    ------
    Unavailable
        It is not.
    """
    try:
        socket.create_server((EVERYWHERE, port)).close()
    except OSError as error:
        taken = error.errno == errno.EADDRINUSE
        why = "is taken by another program" if taken else f"cannot be used: {error.strerror}"
        raise Unavailable(f"Port {port} {why}. Choose another with --port.") from error


def free_port(remembered: int) -> int:
    """Return a free port of the loopback interface: the remembered one if it still is."""
    for port in (remembered, 0):
        with suppress(OSError), socket.create_server((LOOPBACK, port)) as probe:
            found: int = probe.getsockname()[1]
            return found
    raise Unavailable("No port is free for the broker.")


def answers(port: int) -> bool:
    """Whether something listens at a port of the loopback interface."""
    try:
        socket.create_connection((LOOPBACK, port), timeout=1.0).close()
    except OSError:
        return False
    return True
