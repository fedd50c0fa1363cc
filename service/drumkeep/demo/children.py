"""Child processes: started, watched and stopped; none of them outlives the demo."""

import ctypes
import os
import signal
import subprocess
import sys
import time
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field
from pathlib import Path
from typing import Final

from drumkeep.errors import DrumkeepError

STOPS_WITHIN_S: Final = 12.0
_TAIL_LINES: Final = 20
_PR_SET_PDEATHSIG: Final = 1


class ChildDied(DrumkeepError):
    """A process that the demo needs has ended by itself."""


@dataclass
class Child:
    """One process with its log; ``name`` is what people call it."""

    name: str
    command: Sequence[str]
    log: Path
    environment: Mapping[str, str]
    _process: subprocess.Popen[bytes] | None = field(default=None, init=False)

    def start(self) -> None:
        """Start it; what it says goes to its log, begun anew."""
        with self.log.open("wb") as log:
            self._process = subprocess.Popen(  # noqa: S603 - our own programs
                self.command,
                stdin=subprocess.DEVNULL,
                stdout=log,
                stderr=subprocess.STDOUT,
                env=dict(self.environment),
                cwd=self.log.parent,
                # Ctrl-C at the terminal then reaches the demo alone, which stops all in order.
                start_new_session=True,
                preexec_fn=_dies_with_parent(),  # noqa: PLW1509 - the demo has one thread
            )

    @property
    def running(self) -> bool:
        """Whether it runs."""
        return self._process is not None and self._process.poll() is None

    def check(self) -> None:
        """Raise if it was started and has ended.

        Raises
        ------
        ChildDied
            With the end of its log.
        """
        if self._process is None or (status := self._process.poll()) is None:
            return
        how = f"status {status}" if status >= 0 else signal.Signals(-status).name
        raise ChildDied(f"The {self.name} ended ({how}). The end of {self.log}:\n{self.tail()}")

    def tail(self) -> str:
        """Return the last lines of its log."""
        try:
            lines = self.log.read_text(encoding="utf-8", errors="replace").splitlines()
        except OSError:
            lines = []
        return "\n".join(f"  {line}" for line in lines[-_TAIL_LINES:]) or "  (nothing)"

    def ask_to_stop(self) -> None:
        """Ask it to end; returns at once."""
        if self._process is not None and self._process.poll() is None:
            self._process.terminate()

    def wait(self, *, until: float) -> bool:
        """Wait for its end until a time of the monotonic clock, then end it.

        Returns
        -------
        bool
            Whether it ended by itself.
        """
        process, self._process = self._process, None
        if process is None:
            return True
        try:
            process.wait(max(0.0, until - time.monotonic()))
        except subprocess.TimeoutExpired:
            process.kill()
            process.wait()
            return False
        return True


class Family:
    """The children of a demo, in the order in which they were started."""

    def __init__(self) -> None:
        self._groups: list[list[Child]] = []

    def start(self, children: Sequence[Child]) -> None:
        """Start some that do not need one another."""
        self._groups.append(list(children))
        for child in children:
            child.start()

    def check(self) -> None:
        """Raise if one has ended.

        Raises
        ------
        ChildDied
            Which, with the end of its log.
        """
        for group in self._groups:
            for child in group:
                child.check()

    def stop(self) -> list[str]:
        """Stop all, the last started first.

        Returns
        -------
        list of str
            Names of those that had to be killed.
        """
        killed = []
        for group in reversed(self._groups):
            for child in group:
                child.ask_to_stop()
            until = time.monotonic() + STOPS_WITHIN_S
            killed += [child.name for child in group if not child.wait(until=until)]
        self._groups.clear()
        return killed


def clean_environment() -> dict[str, str]:
    """Return the environment without settings of a real service: the demo keeps off its data."""
    return {name: value for name, value in os.environ.items() if not name.startswith("DRUMKEEP_")}


def python(*arguments: str) -> list[str]:
    """Return a command of this interpreter that imports nothing from the folder it runs in."""
    return [sys.executable, "-P", *arguments]


def _dies_with_parent() -> Callable[[], None] | None:
    """Have the kernel stop a child when the demo is gone, however it went (prctl(2), Linux)."""
    if sys.platform != "linux":
        return None
    # Loaded here: between fork and exec as little as possible should happen.
    prctl = ctypes.CDLL(None, use_errno=True).prctl
    parent = os.getpid()

    def before_exec() -> None:
        prctl(_PR_SET_PDEATHSIG, signal.SIGTERM, 0, 0, 0)
        if os.getppid() != parent:  # gone already
            os._exit(1)

    return before_exec
