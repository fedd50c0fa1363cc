"""Packs on disk until the service says that they are stored.

One folder: ``state.json`` with the spool file's hexadecimal name, the next number and how far the
readings are packed, and one file per pack. Each is written beside its place and then moved there,
so that a power cut leaves the old or the new and nothing between.
"""

import fcntl
import logging
import os
import secrets
from contextlib import ExitStack
from pathlib import Path
from typing import Final

import msgspec

_log = logging.getLogger(__name__)

_STATE: Final = "state.json"
_SUFFIX: Final = ".pack"


class SpoolError(Exception):
    """The folder cannot be used."""


class _State(msgspec.Struct):
    spool: str
    next: int = 1
    packed_to: int | None = None


class PackSpool:
    """Numbered packs that are not confirmed yet.

    Parameters
    ----------
    folder
        Made if it is not there. One process at a time may use it.

    Raises
    ------
    SpoolError
        It cannot be made or written, or another process uses it.
    """

    def __init__(self, folder: Path) -> None:
        self._folder = folder
        with ExitStack() as undoing:
            try:
                folder.mkdir(parents=True, exist_ok=True)
                self._lock = undoing.enter_context((folder / "lock").open("w"))
                fcntl.flock(self._lock, fcntl.LOCK_EX | fcntl.LOCK_NB)
                self._state = self._read_state()
                self._packs = self._read_packs()
                # A pack written just before a power cut may be newer than the state.
                self._state.next = max([self._state.next, *(n + 1 for n in self._packs)])
                self.save()
            except BlockingIOError:
                raise SpoolError(
                    f"state {str(folder)!r} is used by another process. End that one first, or "
                    "name another folder."
                ) from None
            except OSError as error:
                raise SpoolError(
                    f"state {str(folder)!r} cannot be used: {error.strerror}. Name a folder that "
                    "can be written."
                ) from None
            undoing.pop_all()  # it worked: the lock stays until close

    @property
    def file(self) -> str:
        """Eight hexadecimal digits that name this spool file."""
        return self._state.spool

    @property
    def next_number(self) -> int:
        """The number of the next pack."""
        return self._state.next

    @property
    def packed_to(self) -> int | None:
        """Epoch second up to which readings are in packs; None at the very beginning."""
        return self._state.packed_to

    @property
    def packs(self) -> dict[int, bytes]:
        """Packs that are not confirmed, by number, the oldest first."""
        return self._packs

    def add(self, payload: bytes) -> None:
        """Keep a pack under the next number; :meth:`save` must come before it is sent."""
        number = self._state.next
        self._write(f"{number:012d}{_SUFFIX}", payload)
        self._packs[number] = payload
        self._state.next = number + 1

    def save(self, *, packed_to: int | None = None) -> None:
        """Keep the next number and how far the readings are packed.

        A number that was sent is then never given to another pack, whatever happens.
        """
        if packed_to is not None:
            self._state.packed_to = packed_to
        self._write(_STATE, msgspec.json.encode(self._state))

    def confirm(self, upto: int) -> list[int]:
        """Forget the packs up to a number, and return which these were."""
        confirmed = [number for number in self._packs if number <= upto]
        for number in confirmed:
            del self._packs[number]
            (self._folder / f"{number:012d}{_SUFFIX}").unlink(missing_ok=True)
        return confirmed

    def close(self) -> None:
        """Let another process use the folder."""
        self._lock.close()

    def _read_state(self) -> _State:
        file = self._folder / _STATE
        try:
            return msgspec.json.decode(file.read_bytes(), type=_State)
        except FileNotFoundError:
            pass
        except msgspec.DecodeError:
            _log.exception("%s cannot be read: a new spool file is begun", file)
        for left in self._folder.glob(f"*{_SUFFIX}"):
            left.unlink()  # numbered in a spool file that nobody knows any more
        return _State(secrets.token_hex(4))

    def _read_packs(self) -> dict[int, bytes]:
        files = sorted(self._folder.glob(f"*{_SUFFIX}"))
        return {int(file.stem): file.read_bytes() for file in files if file.stem.isdigit()}

    def _write(self, name: str, payload: bytes) -> None:
        beside = self._folder / f"{name}.new"
        with beside.open("wb") as file:
            file.write(payload)
            file.flush()
            os.fsync(file.fileno())
        beside.replace(self._folder / name)
