"""The C library's allocator of memory, told to keep less of what was let go of.

glibc makes an arena for each of the first threads, eight for each processor, and what one thread
let go of stays in its arena: a service of fifteen threads under load grew by ten MiB a minute, of
which eight were in no use. Two arenas do for threads that mostly take turns.
"""

import ctypes
import os
from typing import Final

_ARENA_MAX: Final = -8  # M_ARENA_MAX of malloc.h
_ARENAS: Final = 2


def keep_little() -> None:
    """Have it make two arenas, unless it was told how many by its own setting.

    Other C libraries know nothing of it, and need nothing.
    """
    mallopt = getattr(ctypes.CDLL(None), "mallopt", None)
    if mallopt is not None and "MALLOC_ARENA_MAX" not in os.environ:
        mallopt(_ARENA_MAX, _ARENAS)
