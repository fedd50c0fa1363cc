"""The topics of the contract, built and read in this one place.

``<root>/<site>/<gateway>/readings``, ``…/presence`` and ``…/committed``, and
``<root>/<site>/alarms/<id>``. The root carries the version of the contract.
"""

import re
from typing import Final, Literal, get_args

import msgspec

from drumkeep_wire.errors import WireError

DEFAULT_ROOT: Final = "drumkeep/v1"

ALARMS: Final = "alarms"
"""Stands where a gateway's code stands; no gateway may be called so."""

Kind = Literal["readings", "presence", "committed"]
_KINDS: Final[tuple[str, ...]] = get_args(Kind)

# No level separator, no wildcard, nothing unprintable, no space at either end.
_SEGMENT: Final = re.compile(r"(?!\s)[^/+#\x00-\x1f\x7f]{1,80}(?<!\s)")


class Address(msgspec.Struct, frozen=True):
    """What a topic says: whose message it is, and of which kind."""

    site: str
    gateway: str
    kind: Kind


class Topics(msgspec.Struct, frozen=True):
    """Topics under one root.

    Parameters
    ----------
    root
        One or more levels, without a slash at either end.

    Raises
    ------
    WireError
        A level is empty, holds a wildcard, or the root begins with ``$``.
    """

    root: str = DEFAULT_ROOT

    def __post_init__(self) -> None:
        """Refuse a root that no message could be published under."""
        if self.root.startswith("$"):
            raise WireError(
                "root", self.root, "begins with $", "Brokers keep such topics for themselves."
            )
        for level in self.root.split("/"):
            _segment("root", level)

    def readings(self, *, site: str, gateway: str) -> str:
        """Topic of a gateway's packs."""
        return self._of(site, gateway, "readings")

    def presence(self, *, site: str, gateway: str) -> str:
        """Topic on which a gateway says that it is there, retained, and its last will that not."""
        return self._of(site, gateway, "presence")

    def committed(self, *, site: str, gateway: str) -> str:
        """Topic on which the service says what it has stored of a gateway's spool, retained."""
        return self._of(site, gateway, "committed")

    def alarm(self, *, site: str, alarm_id: str) -> str:
        """Topic of one alarm, retained."""
        return f"{self.root}/{_segment('site', site)}/{ALARMS}/{_segment('alarm_id', alarm_id)}"

    def every(self, kind: Kind) -> str:
        """Filter that subscribes to one kind of message of all gateways."""
        return f"{self.root}/+/+/{kind}"

    def parse(self, topic: str) -> Address:
        """Read a gateway's topic.

        Raises
        ------
        WireError
            It lies outside the root, has other levels, or names the reserved gateway.
        """
        beginning = f"{self.root}/"
        levels = topic.removeprefix(beginning).split("/")
        if (
            not topic.startswith(beginning)
            or len(levels) != len(("site", "gateway", "kind"))
            or levels[2] not in _KINDS
        ):
            raise WireError(
                "topic",
                topic,
                "is none of this contract",
                f"Publish to {beginning}<site>/<gateway>/readings or …/presence.",
            )
        site, gateway, kind = levels
        # mypy cannot narrow a str by membership, and the line above has looked.
        return Address(_segment("site", site), _gateway(gateway), kind)  # type: ignore[arg-type]

    def _of(self, site: str, gateway: str, kind: Kind) -> str:
        return f"{self.root}/{_segment('site', site)}/{_gateway(gateway)}/{kind}"


def _segment(field: str, text: str) -> str:
    if _SEGMENT.fullmatch(text) is None:
        raise WireError(
            field,
            text,
            "cannot be one level of a topic",
            "Use 1 to 80 characters without / + # and control characters.",
        )
    return text


def _gateway(code: str) -> str:
    if _segment("gateway", code) == ALARMS:
        raise WireError("gateway", code, "is a reserved name", "Give the gateway another code.")
    return code
