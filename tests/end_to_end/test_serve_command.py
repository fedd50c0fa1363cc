"""The command as an operator runs it: begun, signed in to, ended; what it says if it cannot."""

import os
import signal
import socket
import subprocess
import sys
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

import httpx
import pytest

from tests.fixtures.ports import free_port, is_ready
from tests.fixtures.postgres import running_postgres
from tests.fixtures.process import wait_until

PASSWORD = "seven green ladders"
ENDS_WITHIN_S = 15.0  # it takes one where nothing else runs
DRUMKEEP = [sys.executable, "-m", "drumkeep"]


def run(*arguments: str, given: str = "") -> subprocess.CompletedProcess[str]:
    return subprocess.run(
        [*DRUMKEEP, *arguments],
        input=given,
        capture_output=True,
        text=True,
        timeout=60,
        check=False,
    )


@contextmanager
def serving(folder: Path, *arguments: str) -> Iterator[tuple[subprocess.Popen[bytes], int]]:
    port = free_port()
    with subprocess.Popen(
        [*DRUMKEEP, "serve", "--data-dir", str(folder), "--port", str(port), *arguments],
        stderr=subprocess.PIPE,
    ) as process:
        try:
            yield process, port
        finally:
            process.kill()


def test_it_is_begun_signed_in_to_with_the_password_set_last_and_ended(tmp_path):
    folder = ("--data-dir", str(tmp_path), "--password-stdin")
    made = run("account", "create", "anna", *folder, given="the one forgotten\n")
    assert (made.returncode, made.stdout) == (0, "anna can sign in as manager.\n")
    reset = run("account", "password", "anna", *folder, given=PASSWORD + "\n")
    assert reset.returncode == 0

    with serving(tmp_path, "--only", "web") as (process, port):

        def answers() -> bool:
            assert process.poll() is None, process.stderr and process.stderr.read()
            return is_ready(port)

        wait_until(answers, "it is ready")
        with httpx.Client(base_url=f"http://127.0.0.1:{port}/api/v1", timeout=20) as client:
            old = client.post("session", json={"name": "anna", "password": "the one forgotten"})
            new = client.post("session", json={"name": "anna", "password": PASSWORD})
        assert (old.status_code, new.status_code) == (401, 201)
        process.send_signal(signal.SIGTERM)
        # uvicorn raises the signal again when all is closed.
        assert process.wait(ENDS_WITHIN_S) in {0, -signal.SIGTERM}


def test_a_taken_port_is_said_and_nothing_is_made(tmp_path):
    with socket.create_server(("127.0.0.1", 0)) as taken:
        port = str(taken.getsockname()[1])

        refused = run("serve", "--data-dir", str(tmp_path / "new"), "--port", port)

    assert refused.returncode == os.EX_TEMPFAIL  # it may be free in a moment: systemd tries again
    assert refused.stderr == (
        f"drumkeep: Port {port} of 127.0.0.1 is taken by another program. "
        "Choose another with --port.\n"
    )
    assert not (tmp_path / "new").exists()


# What else cannot be done is in tests/unit/cli: the same words, without a process for each.
@pytest.mark.parametrize(
    ("arguments", "said"),
    [
        (["serve", "--port", "0", "--mqtt-url", "mqtt://host:port"], "mqtt://"),
        (["account", "password", "nobody", "--password-stdin"], "no such account"),
    ],
)
def test_what_cannot_be_done_is_said_plainly(tmp_path, arguments, said):
    refused = run(*arguments, "--data-dir", str(tmp_path), given=PASSWORD + "\n")

    assert refused.returncode == 2
    assert said in refused.stderr
    assert "Traceback" not in refused.stderr


def test_a_process_without_web_runs_until_it_is_told_to_end(tmp_path):
    with serving(tmp_path, "--only", "ingest") as (process, _):
        assert process.stderr is not None
        said = process.stderr.readline()
        process.send_signal(signal.SIGTERM)
        code = process.wait(ENDS_WITHIN_S)

    assert b"no broker is set" in said
    assert code == 0
    assert (tmp_path / "drumkeep.db").exists()


@pytest.mark.postgres
def test_a_database_that_comes_up_later_is_waited_for(tmp_path, monkeypatch):
    with running_postgres() as cluster, cluster.database() as name:
        cluster.stop()
        monkeypatch.setenv("DRUMKEEP_DATABASE_URL", cluster.url(name))
        with serving(tmp_path, "--only", "web") as (process, port):
            assert process.stderr is not None
            said = process.stderr.readline()
            with pytest.raises(ConnectionRefusedError):
                socket.create_connection(("127.0.0.1", port))
            cluster.start()
            wait_until(lambda: is_ready(port), "it is ready")
            later = process.stderr.readline()
            process.send_signal(signal.SIGTERM)
            process.wait(ENDS_WITHIN_S)

    assert b"Connection refused. It is tried again every 3 s." in said
    assert b"The database is there." in later


def test_a_store_is_not_moved_while_any_process_serves_it(tmp_path):
    target = f"sqlite:///{tmp_path}/target.db"
    with serving(tmp_path, "--only", "ingest") as (process, _):
        assert process.stderr is not None
        process.stderr.readline()  # of no broker: it serves
        refused = run("move-store", "--data-dir", str(tmp_path), "--to", target)
        process.send_signal(signal.SIGTERM)
        process.wait(ENDS_WITHIN_S)

    assert refused.returncode == 2
    assert "End every drumkeep process on it" in refused.stderr
