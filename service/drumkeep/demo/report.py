"""What the demo tells whoever started it."""

import socket
import sys
from collections.abc import Iterable, Mapping
from pathlib import Path
from typing import Final

from drumkeep.demo.sign_ins import SignIn

_SOMEWHERE: Final = "192.0.2.1"
"""An address for documentation (RFC 5737): asking for the way there sends nothing."""

STORY: Final = (
    "The box van stood out from 1 to 6 in the coldest night: its iso is on the dock, LOOK FIRST.",
    "The straight truck stands out now: bring its load in before the time that Now says.",
    "The warm room at Harrow Bend is warming drums; each says when it will be ready.",
    "Jobs want drums at six in the morning: each says by when its warm-up must start.",
    "The tin shed and the crew van at Dry Willow are hot: their resin is gassing.",
    "The sensor of Rig 2 went silent: what stands there is unknown until somebody dips.",
    "One sensor in the north shed is stuck, one in the cool store has a loose wire: see Sensors.",
    "A drum in the north shed was dipped today: the first dip could not be, the second counted.",
    "A drum in the warm room has a sensor in its liquid; one in the shed wears a band heater.",
    "The annex's film was learned from dips, the warm room's is pinned: see those places.",
    "Heat used up lot A2188 in the tin shed; in the heat cabinet resin stirred open lost agent.",
)


def say(text: str = "") -> None:
    """Tell a line."""
    sys.stdout.write(f"{text}\n")
    sys.stdout.flush()


def address(port: int, *, host: str = "127.0.0.1") -> str:
    """Return where the service is."""
    return f"http://{host}:{port}"


def network_addresses() -> list[str]:
    """Return this machine's own addresses on its networks, the likeliest first."""
    found: list[str] = []
    with socket.socket(socket.AF_INET, socket.SOCK_DGRAM) as probe:
        try:
            probe.connect((_SOMEWHERE, 9))
            found.append(probe.getsockname()[0])
        except OSError:
            pass  # no way out
    try:
        named = socket.getaddrinfo(socket.gethostname(), None, socket.AF_INET)
        found += [str(info[4][0]) for info in named]
    except OSError:
        pass  # its own name is not known to it
    return list(dict.fromkeys(a for a in found if not a.startswith("127.") and a != "0.0.0.0"))  # noqa: S104


def tell_where(port: int, *, people: Mapping[str, SignIn], folder: Path) -> None:
    """Tell where the pages are, who can sign in, and how to stop."""
    say(f"\nThe pages are at:  {address(port)}")
    others = network_addresses()
    for other in others:
        say(f"on your network:   {address(port, host=other)}   (a phone can open this one)")
    if not others:
        say("on your network:   no network found; only this machine can open it")
    say("\nSign in as")
    _table((person.role, person.name, person.passphrase) for person in people.values())
    say(f"\nData and logs are in {folder}. Ctrl-C stops all of it.\n")


def tell_story(port: int) -> None:
    """Tell what there is to see, once it can be seen."""
    say(f"\ndrumkeep is up:    {address(port)}")
    say("\nWhat to look at")
    for line in STORY:
        say(f"  - {line}")
    say()


def reached_at(port: int) -> str:
    """Return the address by which a phone reaches the pages, where there is a network."""
    return address(port, host=next(iter(network_addresses()), "127.0.0.1"))


def _table(rows: Iterable[tuple[str, ...]]) -> None:
    told = list(rows)
    widths = [max(len(row[column]) for row in told) for column in range(len(told[0]))]
    for row in told:
        cells = (cell.ljust(width) for cell, width in zip(row, widths, strict=True))
        say("  " + "   ".join(cells).rstrip())
