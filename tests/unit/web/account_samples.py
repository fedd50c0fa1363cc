"""Accounts, tokens and the audit, as their pages are given them."""

from collections.abc import Callable
from datetime import datetime, timedelta
from typing import TypeVar

from drumkeep.web.audit import Asked
from drumkeep.web.views.audit import AuditLine, FieldLine
from drumkeep.web.views.people import DeviceLine
from drumkeep.web.views.tokens import LASTING, IdentityLine, MadeToken, TokenForm, TokenLine

_T = TypeVar("_T")
Context = dict[str, object]


def account_pages(
    change: Callable[[_T], _T], *, device: DeviceLine, now: datetime
) -> dict[str, Context]:
    """Return what each template needs; ``change`` spoils or keeps what a person wrote."""
    spoil: Callable[..., object] = change
    token = TokenLine(
        id=7,
        name="Weather station",
        owner=None,
        role="dispatcher",
        good_to="send readings and forecasts",
        made_at=now,
        made_by="Ana Ruiz",
        expires_at=now + timedelta(days=90),
        last_used_at=None,
        revoked_at=None,
        holds=True,
    )
    over = TokenLine(
        id=8,
        name="Old scale",
        owner="Dana",
        role="crew",
        good_to="read",
        made_at=now,
        made_by="Dana",
        expires_at=None,
        last_used_at=now,
        revoked_at=now,
        holds=False,
    )
    tokens = {
        "tokens": spoil((token, over)),
        "typed": spoil(TokenForm(name="Scale", scopes=["read"])),
        "made": spoil(MadeToken("Scale", "drumkeep_s3cret")),
        "lasting": LASTING,
    }
    linked = IdentityLine(id=3, words="dana@pine.example", since=now, last_used_at=now)
    line = AuditLine(
        at=now,
        who="dana",
        role="crew",
        way="on the pages",
        address="192.0.2.7",
        device="Android phone",
        did="moved",
        kind="drum",
        thing="K7Q-X4M",
        called="Iso",
        leads="/drums/K7Q-X4M",
        fields=(
            FieldLine("place", "pine/dock", "pine/north"),
            FieldLine("note", "", "By hand"),
            FieldLine("wanted at", "2026-02-06", ""),
        ),
    )
    return {
        "sign_in.html": {
            "csrf": "c",
            "next": "/floor",
            "name": spoil("ana"),
            "error": "No.",
            "company": True,
        },
        "me.html": {
            "chosen": "es",
            "account": "dana",
            "devices": spoil((device,)),
            "faults": (),
            "token_faults": (),
            "identities": spoil((linked,)),
            "company": True,
            "company_at": None,
            **tokens,
        },
        "tokens.html": {"faults": (), **tokens},
        "audit.html": {
            "lines": spoil((line,)),
            "asked": spoil(Asked(who="dana", thing="K7Q-X4M")),
            "people": spoil(("dana", "ana")),
            "older": "/audit?before=7",
            "newest": "/audit",
            "csv": "/audit.csv",
            "faults": (),
            "zone": "UTC",
            "most": 50_000,
        },
    }
