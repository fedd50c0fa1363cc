"""A verdict as it is stored and read again: JSON, its times as text (ISO 8601, UTC)."""

from collections.abc import Mapping, Sequence
from datetime import datetime
from types import MappingProxyType
from typing import Any, Final

from drumkeep.domain.cautions import CAUTION_SHEET
from drumkeep.domain.readiness import DIP_IT, NOT_COMPUTED, Ahead, Answer, Readiness, Verdict


def record_of(verdict: Verdict, *, ahead: Ahead, pressed: bool) -> dict[str, Any]:
    """Return a verdict with the times of its outlook, as far as they help.

    Nothing but cold is mended by a warm room, and what is under pressure (``pressed``) is not moved
    to one.
    """
    too_cold = verdict.state is Readiness.TOO_COLD and not pressed
    too_warm = verdict.state is Readiness.TOO_WARM and not pressed
    return {
        **record_without_times(
            state=verdict.state,
            answer=verdict.answer,
            reasons=verdict.reasons,
            advice=verdict.advice,
            cautions=verdict.cautions,
        ),
        "ready_at": iso(verdict.ready_at),
        "ready_from": iso(ahead.ready_from) if too_cold or too_warm else None,
        "warm_room": ahead.warm_room,
        "ready_in_warm_room_at": iso(ahead.ready_in_warm_room_at) if too_cold else None,
        "ready_in_warm_room_from": iso(ahead.ready_in_warm_room_from) if too_cold else None,
        "never_note": ahead.never_note if too_cold else None,
    }


def record_without_times(
    *,
    state: str,
    answer: str,
    reasons: Sequence[str],
    advice: Sequence[str],
    cautions: Sequence[str],
) -> dict[str, Any]:
    """Return a verdict on a drum of whose days ahead nothing is told."""
    return {
        "state": str(state),
        "answer": str(answer),
        "reasons": list(reasons),
        "advice": list(advice),
        "cautions": list(cautions),
        "ready_at": None,
        "ready_from": None,
        "warm_room": None,
        "ready_in_warm_room_at": None,
        "ready_in_warm_room_from": None,
        "never_note": None,
    }


def iso(at: datetime | None) -> str | None:
    """Return a time as it is stored in JSON."""
    return None if at is None else at.isoformat()


def from_iso(text: str | None) -> datetime | None:
    """Return a time that is stored in JSON."""
    return None if text is None else datetime.fromisoformat(text)


UNCOMPUTED: Final[Mapping[str, Any]] = MappingProxyType(
    record_without_times(
        state=Readiness.UNKNOWN,
        answer=Answer.ASK,
        reasons=[NOT_COMPUTED],
        advice=[DIP_IT],
        cautions=[CAUTION_SHEET],
    )
)
"""Of a drum that has just come and waits for its first round."""
