"""The C library's allocator makes no arena for each thread."""

import ctypes
import os
import subprocess
import sys
from pathlib import Path

import pytest

COUNT = """
import ctypes, sys, threading
from drumkeep.cli import allocator

allocator.keep_little()
c = ctypes.CDLL(None)
c.malloc.restype = c.fopen.restype = ctypes.c_void_p
c.malloc_info.argtypes = [ctypes.c_int, ctypes.c_void_p]
c.fclose.argtypes = [ctypes.c_void_p]
all_there = threading.Barrier(6)

def take():
    all_there.wait()
    c.malloc(1000)  # ctypes lets go of the interpreter's lock meanwhile
    all_there.wait()

threads = [threading.Thread(target=take) for _ in range(6)]
for thread in threads:
    thread.start()
for thread in threads:
    thread.join()
file = c.fopen(sys.argv[1].encode(), b"w")
c.malloc_info(0, file)
c.fclose(file)
"""


@pytest.mark.skipif(not hasattr(ctypes.CDLL(None), "malloc_info"), reason="needs glibc")
@pytest.mark.parametrize(("told", "arenas"), [({}, 2), ({"MALLOC_ARENA_MAX": "4"}, 4)])
def test_threads_share_two_arenas_unless_it_is_told_otherwise(
    told: dict[str, str], arenas: int, tmp_path: Path
):
    file = tmp_path / "arenas.xml"
    surroundings = {name: value for name, value in os.environ.items() if "MALLOC" not in name}

    subprocess.run([sys.executable, "-c", COUNT, file], check=True, env=surroundings | told)

    assert file.read_text().count("<heap ") == arenas
