"""Views of people, the addresses at which they are told, and what became of what was sent."""

from collections.abc import Callable
from datetime import datetime
from typing import Any

from drumkeep.errors import Fault
from drumkeep.web.view_models import NoticeView
from drumkeep.web.views.notices import LEAST_WORDS, AddressView, PersonView


def notice(now: datetime, **changes: Any) -> NoticeView:
    usual: dict[str, Any] = {
        "told": "To Dana, mail",
        "fate": "sent 2:00 am",
        "state": "sent",
        "at": now,
        "text": "Bring 6 iso drums in.\nHigh, for dispatcher.",
        "alarm_id": "92",
    }
    return NoticeView(**(usual | changes))


def notice_pages(change: Callable[[Any], Any], *, now: datetime) -> dict[str, dict[str, Any]]:
    """Return what the template lists."""
    test = notice(now, told="A test to Dana, mail", state="failed", fate="gave up after 3 tries")
    addresses = tuple(
        AddressView(
            id=number,
            shown="mailto://d…@example.com",
            channel="mail",
            least="high",
            least_words=LEAST_WORDS["high"],
            tests=(test,) if number == 1 else (),
        )
        for number in (1, 2)
    )
    people = (
        PersonView(name="dana", display_name="Dana", role="dispatcher", addresses=addresses),
        PersonView(name="cris", display_name="Cris", role="crew", addresses=()),
    )
    return {
        "notices.html": {
            "people": tuple(change(person) for person in people),
            "latest": (change(notice(now)), change(notice(now, state="waiting", alarm_id=None))),
            "choices": [(str(value), words) for value, words in LEAST_WORDS.items()],
            "usual": "high",
            "kinds": [
                ("mail", [("any mail server", "mailtos")]),
                ("chat", [("Discord", "discord"), ("Zulip", "zulip")]),
            ],
            "faulty": "cris",
            "faults": (change(Fault("url", "syslog://…", "is not let in", "Use mailto.")),),
            "sending": False,
        }
    }
