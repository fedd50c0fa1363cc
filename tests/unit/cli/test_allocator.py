"""The C library's allocator makes no arena for each thread, and gives back what lies free."""

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

HOLES = """
import ctypes, time
from pathlib import Path
from drumkeep.cli import allocator

def mib():
    status = Path("/proc/self/status").read_text()
    return int(status.split("VmRSS:")[1].split()[0]) / 1024

c = ctypes.CDLL(None)
c.malloc.restype = ctypes.c_void_p
c.free.argtypes = [ctypes.c_void_p]
blocks = [c.malloc(8192) for _ in range(8000)]
for block in blocks:
    ctypes.memset(block, 1, 8192)
for number, block in enumerate(blocks):
    if number % 20 != 19:  # one in twenty stays in use, the last of them too
        c.free(block)
before = mib()
allocator._TRIM_EVERY_S = 0.01
allocator.keep_little()
deadline = time.monotonic() + 20
while mib() > before - 40 and time.monotonic() < deadline:
    time.sleep(0.01)
print(before - mib())
"""

pytestmark = pytest.mark.skipif(
    not hasattr(ctypes.CDLL(None), "malloc_info"), reason="the C library is not glibc"
)


@pytest.mark.parametrize(("told", "arenas"), [({}, 2), ({"MALLOC_ARENA_MAX": "4"}, 4)])
def test_threads_share_two_arenas_unless_it_is_told_otherwise(
    told: dict[str, str], arenas: int, tmp_path: Path
):
    file = tmp_path / "arenas.xml"
    surroundings = {name: value for name, value in os.environ.items() if "MALLOC" not in name}

    subprocess.run([sys.executable, "-c", COUNT, file], check=True, env=surroundings | told)

    assert file.read_text().count("<heap ") == arenas


def test_what_lies_free_between_what_is_in_use_is_given_back():
    told = subprocess.run(
        [sys.executable, "-c", HOLES], check=True, capture_output=True, text=True
    ).stdout

    assert float(told) > 40.0  # MiB, of 62
