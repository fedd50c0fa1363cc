"""systemd hears that the gateway is up and alive, by its own protocol."""

import socket
from collections.abc import Iterator
from pathlib import Path

import pytest

from drumkeep_sensors.supervision import Supervision


@pytest.fixture
def systemd(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Iterator[socket.socket]:
    """Give the socket on which systemd listens (sd_notify(3))."""
    with socket.socket(socket.AF_UNIX, socket.SOCK_DGRAM) as listening:
        listening.bind(str(tmp_path / "notify"))
        listening.settimeout(5)
        monkeypatch.setenv("NOTIFY_SOCKET", str(tmp_path / "notify"))
        yield listening


def heard(listening: socket.socket) -> list[bytes]:
    listening.settimeout(0)
    some = []
    try:
        while True:
            some.append(listening.recv(100))
    except BlockingIOError:
        return some


def test_it_hears_that_the_gateway_is_up_and_thrice_in_its_time_that_it_is_alive(
    systemd: socket.socket, monkeypatch: pytest.MonkeyPatch
):
    monkeypatch.setenv("WATCHDOG_USEC", "120000000")
    seconds = iter(range(121))
    supervision = Supervision(clock=lambda: next(seconds))
    supervision.ready()
    for _ in range(120):
        supervision.alive()

    assert heard(systemd) == [b"READY=1", *3 * [b"WATCHDOG=1"]]


def test_one_that_does_not_watch_hears_only_that_it_is_up(systemd: socket.socket):
    supervision = Supervision()
    supervision.ready()
    supervision.alive()

    assert heard(systemd) == [b"READY=1"]


def test_nobody_needs_to_be_there(monkeypatch: pytest.MonkeyPatch, tmp_path: Path):
    monkeypatch.delenv("NOTIFY_SOCKET", raising=False)
    Supervision().ready()
    monkeypatch.setenv("NOTIFY_SOCKET", str(tmp_path / "gone"))
    Supervision().ready()


def test_a_socket_without_a_file_is_found(monkeypatch: pytest.MonkeyPatch):
    with socket.socket(socket.AF_UNIX, socket.SOCK_DGRAM) as listening:
        listening.bind("")  # Linux then makes up a name that begins with a zero (unix(7))
        name = listening.getsockname()
        monkeypatch.setenv("NOTIFY_SOCKET", f"@{name[1:].decode()}")
        Supervision().ready()

        assert heard(listening) == [b"READY=1"]
