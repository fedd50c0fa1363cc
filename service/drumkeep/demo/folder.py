"""The demo's own folder: what it keeps from one start to the next, and the lock on it."""

import fcntl
import json
import os
import shutil
from dataclasses import asdict, dataclass
from datetime import UTC, datetime
from pathlib import Path
from typing import Any, Final, Self

from drumkeep.errors import Unavailable

DEFAULT: Final = Path("~/.local/share/drumkeep/demo")

_STATE: Final = "demo.json"
_LOCK: Final = "lock"
_PARTS: Final = ("service", "gateways", "logs")
_FILES: Final = (_STATE, "sign-ins.json", "broker.toml")


@dataclass
class State:
    """What a later start must know.

    Attributes
    ----------
    begun
        When the demo was first started, UTC: all times of its story hang on it.
    broker_port
        Where the broker listens on the loopback interface.
    seeded
        Whether all that the scenario holds has been sent.
    """

    begun: datetime
    broker_port: int = 0
    seeded: bool = False


class Folder:
    """A folder that one demo at a time may use.

    Parameters
    ----------
    path
        Made if it is not there; anything else than a demo's folder is refused.

    Raises
    ------
    Unavailable
        Another demo uses it, it holds something else, or it cannot be written.
    """

    def __init__(self, path: Path) -> None:
        self.path = path.expanduser().absolute()
        try:
            self.path.mkdir(mode=0o700, parents=True, exist_ok=True)
            self._refuse_foreign()
            self._lock = os.open(self.path / _LOCK, os.O_RDWR | os.O_CREAT, 0o600)
        except OSError as error:
            raise Unavailable(
                f"The demo's folder {self.path} cannot be used: {error.strerror}. Name another "
                "with --data-dir."
            ) from error
        try:
            fcntl.flock(self._lock, fcntl.LOCK_EX | fcntl.LOCK_NB)
        except BlockingIOError:
            os.close(self._lock)
            raise Unavailable(
                f"Another demo uses the folder {self.path}. Stop that one first, or name another "
                "folder with --data-dir."
            ) from None

    def __enter__(self) -> Self:
        """Enter a block at whose end another demo may use the folder."""
        return self

    def __exit__(self, *_: object) -> None:
        """Let another demo use it."""
        os.close(self._lock)

    def clear(self) -> None:
        """Forget everything: the demo's own files, and nothing else."""
        for name in _PARTS:
            shutil.rmtree(self.path / name, ignore_errors=True)
        for name in _FILES:
            (self.path / name).unlink(missing_ok=True)

    def state(self, *, now: datetime) -> State:
        """Return what was kept, or begin."""
        told = self.read(_STATE)
        if told is None:
            begun = datetime.fromtimestamp(int(now.timestamp()), tz=UTC)
            return State(begun=begun)
        return State(**{**told, "begun": datetime.fromisoformat(told["begun"])})

    def keep(self, state: State) -> None:
        """Keep the state."""
        self.write(_STATE, {**asdict(state), "begun": state.begun.isoformat()})

    def part(self, *names: str) -> Path:
        """Return a folder within this one, made if it is not there."""
        path = self.path.joinpath(*names)
        path.mkdir(mode=0o700, parents=True, exist_ok=True)
        return path

    def read(self, name: str) -> Any:  # noqa: ANN401 - JSON
        """Return what a file holds; None if there is none."""
        file = self.path / name
        try:
            return json.loads(file.read_text(encoding="utf-8"))
        except FileNotFoundError:
            return None
        except (OSError, ValueError) as error:
            raise Unavailable(f"{file} cannot be read. Start over with --fresh.") from error

    def write(self, name: str, told: Any) -> None:  # noqa: ANN401 - JSON
        """Write a file for our eyes only; a power cut leaves the old one or the new."""
        replace_text(self.path / name, json.dumps(told, indent=1))

    def _refuse_foreign(self) -> None:
        own = {_LOCK, *_PARTS, *_FILES}
        if any(entry.name.removesuffix(".new") not in own for entry in self.path.iterdir()):
            raise Unavailable(
                f"The folder {self.path} holds other things than a demo. Name another, or one "
                "that does not exist yet, with --data-dir."
            )


def replace_text(file: Path, text: str) -> None:
    """Write a file that only its owner may read, all of it or nothing."""
    beside = file.with_name(f"{file.name}.new")
    beside.unlink(missing_ok=True)
    descriptor = os.open(beside, os.O_WRONLY | os.O_CREAT | os.O_EXCL, 0o600)
    with os.fdopen(descriptor, "w", encoding="utf-8") as written:
        written.write(text)
    beside.replace(file)
