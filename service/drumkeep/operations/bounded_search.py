"""JMESPath with a bound to its work: a few dozen characters can ask for more than there is memory.

``[@, @] | [@, @] | …`` doubles what it finds with each bar, and the process that searches is the
one that takes the readings.
"""

from collections.abc import Mapping
from typing import Any, Final

import jmespath
from jmespath.exceptions import JMESPathError
from jmespath.visitor import TreeInterpreter

LEAST_STEPS: Final = 10_000
STEPS_AN_OCTET: Final = 4
"""Of the message: enough for four expressions in each item of the shortest."""

CHARACTERS_A_STEP: Final = 8

_MAKING: Final = frozenset(
    {
        "multi_select_list",
        "multi_select_dict",
        "flatten",
        "projection",
        "value_projection",
        "filter_projection",
        "function_expression",
    }
)
"""Nodes that make something new; all others point at what is there."""


class TooMuchWork(JMESPathError):  # type: ignore[misc]  # the library has no types
    """The expression asks for more than is allowed."""


class BoundedSearch(TreeInterpreter):  # type: ignore[misc]  # the library has no types
    """Searches one message, as often as need be, within one bound.

    Parameters
    ----------
    octets
        How long the message is.
    """

    def __init__(self, octets: int) -> None:
        super().__init__()
        self._left = LEAST_STEPS + STEPS_AN_OCTET * octets

    def search(self, expression: str, within: object) -> object:
        """Return what an expression finds.

        Raises
        ------
        JMESPathError
            It is none, does not fit, or asks for too much (:class:`TooMuchWork`).
        """
        return self.visit(jmespath.compile(expression).parsed, within)

    def visit(self, node: Mapping[str, Any], *args: Any, **kwargs: Any) -> object:  # noqa: ANN401
        """Visit a node, as the library does it, and count what it makes."""
        self._spend(1)
        found = super().visit(node, *args, **kwargs)
        if node["type"] in _MAKING:
            self._measure(found)
        return found

    def _measure(self, found: object) -> None:
        """Count all that is in something, as often as it is in there."""
        self._spend(1)
        if isinstance(found, str):
            self._spend(len(found) // CHARACTERS_A_STEP)
        elif isinstance(found, Mapping):
            for key, value in found.items():
                self._measure(key)
                self._measure(value)
        elif isinstance(found, list):
            for one in found:
                self._measure(one)

    def _spend(self, steps: int) -> None:
        self._left -= steps
        if self._left < 0:
            raise TooMuchWork("asks for too much work")
