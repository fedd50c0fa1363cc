"""The stream that keeps open pages true, from the real command."""

import queue
import signal
import subprocess
import threading
import time
from collections.abc import Iterator
from contextlib import ExitStack, contextmanager
from pathlib import Path

import httpx
import pytest

from tests.builders import catalogue, stock
from tests.end_to_end.whole_service import DRUMKEEP, PASSWORD, make_manager
from tests.fixtures.ports import free_port
from tests.fixtures.process import wait_until

TELLS_WITHIN_S = 15.0  # it takes one or two where nothing else runs
ENDS_WITHIN_S = 15.0  # a stream that is not let go lasts as long as the page


@pytest.fixture
def service(tmp_path: Path) -> Iterator[tuple[subprocess.Popen[bytes], httpx.Client]]:
    """Give the running command, and a client that has signed in as its manager."""
    folder = ["--data-dir", str(tmp_path)]
    make_manager(tmp_path)
    port = free_port()
    command = [*DRUMKEEP, "serve", *folder, "--port", str(port), "--only", "web"]
    with subprocess.Popen(command, stderr=subprocess.DEVNULL) as process:
        try:
            with httpx.Client(base_url=f"http://127.0.0.1:{port}", timeout=20) as client:
                wait_until_ready(client)
                answer = client.post("/api/v1/session", json={"name": "anna", "password": PASSWORD})
                client.headers["X-CSRF-Token"] = answer.json()["csrf"]
                yield process, client
        finally:
            process.kill()


def wait_until_ready(client: httpx.Client) -> None:
    wait_until(lambda: is_ready(client), "it is ready")


def is_ready(client: httpx.Client) -> bool:
    try:
        return client.get("/ready").status_code == 200
    except httpx.TransportError:
        return False


@contextmanager
def listening(client: httpx.Client) -> Iterator["queue.Queue[str]"]:
    """Give the names of the events as they come; an empty one when the stream has ended."""
    heard: queue.Queue[str] = queue.Queue()

    def listen() -> None:
        with client.stream("GET", "/live") as stream:
            assert stream.headers["Content-Type"].startswith("text/event-stream")
            for line in stream.iter_lines():
                if line.startswith("event: "):
                    heard.put(line.removeprefix("event: "))
        heard.put("")

    thread = threading.Thread(target=listen)
    thread.start()
    try:
        assert heard.get(timeout=30) == "hello"
        yield heard
    finally:
        thread.join(30)


def receive_a_drum(client: httpx.Client) -> str:
    def made(noun: str, body: stock.Body) -> stock.Body:
        answer = client.post(f"/api/v1/{noun}", json=body)
        assert answer.status_code == 201, answer.text
        found: stock.Body = answer.json()
        return found

    site = made("sites", catalogue.site())["code"]
    place = made("places", catalogue.place(site))["place"]
    product = made("products", catalogue.product())["code"]
    lot = made("lots", catalogue.lot(product))["code"]
    tag: str = made("drums", stock.drum(product=product, lot=lot, place=place))["tag"]
    return tag


def test_open_page_is_told_of_what_another_client_records_and_let_go_at_the_end(service):
    process, client = service
    stranger = httpx.get(f"{client.base_url}/live")
    assert stranger.status_code == 401
    assert stranger.headers["Content-Type"] == "application/problem+json"
    tag = receive_a_drum(client)
    with ExitStack() as open_pages:
        pages = [open_pages.enter_context(listening(client)) for _ in range(3)]
        with pytest.raises(queue.Empty):
            pages[0].get(timeout=2.5)  # nothing has happened

        begun = time.monotonic()
        answer = client.post(f"/api/v1/drums/{tag}/events", json=stock.event("opened"))
        assert answer.status_code == 201, answer.text
        for heard in pages:
            assert heard.get(timeout=TELLS_WITHIN_S) == "changed"
        assert time.monotonic() - begun < TELLS_WITHIN_S

        process.send_signal(signal.SIGTERM)
        # uvicorn raises the signal again when all is closed.
        assert process.wait(timeout=ENDS_WITHIN_S) in {0, -signal.SIGTERM}
        for heard in pages:
            assert heard.get(timeout=10) == ""
