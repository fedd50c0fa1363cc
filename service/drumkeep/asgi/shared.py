"""What many open pages ask for in the same moment is made once, and handed to all of them."""

from collections import OrderedDict
from collections.abc import Callable, Hashable
from dataclasses import dataclass, field
from datetime import datetime, timedelta
from threading import Lock
from typing import Any, Final, TypeVar

LASTING: Final = timedelta(seconds=4)
"""As long as an open page waits at least before it asks again."""

_MOST: Final = 32
_T = TypeVar("_T")


@dataclass
class _Made:
    making: Lock = field(default_factory=Lock)
    at: datetime | None = None
    thing: Any = None


class Shared:
    """Keeps what was made under a key for a moment; who asks while it is being made waits for it.

    A key must name all that the thing depends on but the seconds of the clock: what was stored, by
    :func:`drumkeep.storage.pulse.state`, and for whom it is.
    """

    def __init__(self) -> None:
        self._keeping = Lock()
        self._kept: OrderedDict[Hashable, _Made] = OrderedDict()

    def get(self, key: Hashable, make: Callable[[], _T], *, now: datetime) -> _T:
        """Return what was made under a key, or make it."""
        with self._keeping:
            found = self._kept.setdefault(key, _Made())
            self._kept.move_to_end(key)
            while len(self._kept) > _MOST:
                self._kept.popitem(last=False)
        with found.making:
            if found.at is None or abs(now - found.at) >= LASTING:
                found.thing, found.at = make(), now
            thing: _T = found.thing
            return thing
