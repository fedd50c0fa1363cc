"""Keeps Mosquitto's files of passwords and rights as the database says, and has it read them."""

import fcntl
import logging
import os
import signal
from collections.abc import Callable, Iterator, Sequence
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path
from typing import Final

from drumkeep.errors import Unavailable
from drumkeep.notify.broker_access import Holder, acl_file, password_file
from drumkeep_wire.topics import Topics

_LOG: Final = logging.getLogger(__name__)
_MODE: Final = 0o640
"""For us and the group of the folder, which is the broker's."""


@dataclass(frozen=True)
class BrokerFiles:
    """Where the broker's files are.

    Attributes
    ----------
    folder
        Holds ``passwords`` and ``acl``; exists, and its group is the broker's.
    root
        What all topics begin with.
    pid_file
        Of the broker, to have it reload; None where something else watches the files.
    """

    folder: Path
    root: str
    pid_file: Path | None = None

    def update(self, read: Callable[[], Sequence[Holder]]) -> bool:
        """Write what differs and have the broker reload.

        Parameters
        ----------
        read
            Returns who may sign in, as stored. It is called while no other process writes, so that
            of two changes at the same moment the older never has the last word.

        Returns
        -------
        bool
            Whether anything differed.

        Raises
        ------
        Unavailable
            The files cannot be written, or the broker may not be told.
        """
        try:
            with self._alone():
                holders = read()
                # The last to change is the one whose change is watched for.
                changed = _put(self.folder / "passwords", password_file(holders))
                changed |= _put(self.folder / "acl", acl_file(holders, topics=Topics(self.root)))
        except OSError as error:
            raise Unavailable(
                f"The broker's files in {self.folder} cannot be written: {error.strerror}. "
                "The broker goes on with those it has; mend it, then run drumkeep gateway files."
            ) from error
        if changed:
            self._reload()
        return changed

    @contextmanager
    def _alone(self) -> Iterator[None]:
        with (self.folder / ".lock").open("w") as lock:
            fcntl.flock(lock, fcntl.LOCK_EX)
            yield

    def _reload(self) -> None:
        if self.pid_file is None:
            return
        try:
            pid = int(self.pid_file.read_text(encoding="ascii"))
            # A number left by a broker that died may be another program's by now, and the signal
            # would end that.
            running = Path(f"/proc/{pid}/comm").read_text(encoding="utf-8").strip() == "mosquitto"
        except (OSError, ValueError):
            running = False
        if not running:
            _LOG.warning("no broker runs under %s; it reads them when it starts", self.pid_file)
            return
        try:
            os.kill(pid, signal.SIGHUP)
        except OSError as error:
            raise Unavailable(
                f"The broker may not be told to reload: {error.strerror}. Run systemctl reload "
                "mosquitto, or let systemd watch the files (deploy/mosquitto/README.md)."
            ) from error


def _put(path: Path, text: str) -> bool:
    """Put a file in place as a whole, so that nobody ever reads half of it."""
    try:
        if path.read_text(encoding="utf-8") == text:
            return False
    except FileNotFoundError:
        pass
    half = path.with_name(f".{path.name}.new")
    half.unlink(missing_ok=True)
    descriptor = os.open(half, os.O_WRONLY | os.O_CREAT | os.O_EXCL, _MODE)
    with os.fdopen(descriptor, "w", encoding="utf-8") as file:
        os.fchmod(descriptor, _MODE)
        file.write(text)
        file.flush()
        os.fsync(descriptor)
    half.replace(path)
    return True
