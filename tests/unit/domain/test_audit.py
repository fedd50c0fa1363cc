"""What a deed is called: by the most telling of what changed."""

import pytest

from drumkeep.domain.audit import Part, deed

MADE = Part("drum_event", "made", {"kind": (None, "moved")})


@pytest.mark.parametrize(
    ("parts", "called"),
    [
        ([Part("drum", "changed", {"place": ("a", "b")}), MADE], "moved"),
        ([Part("site", "changed", {"name": ("a", "b")})], "changed"),
        ([Part("site", "removed", {})], "removed"),
        ([Part("session", "made", {})], "signed in"),
        ([Part("account", "changed", {"password_hash": ("x", "y")})], "set a password"),
        (
            # a new password ends the sessions: it is the password that is told
            [Part("session", "changed", {}), Part("account", "changed", {"password_hash": (1, 2)})],
            "set a password",
        ),
        ([Part("account", "changed", {"disabled_at": (None, "now")})], "let in no more"),
        ([Part("account", "changed", {"disabled_at": ("then", None)})], "let in again"),
        ([Part("account", "made", {"disabled_at": (None, None)})], "made"),
        ([Part("token", "changed", {"revoked_at": (None, "now")})], "revoked"),
        ([Part("alarm", "changed", {"acknowledged_at": (None, "now")})], "acknowledged"),
    ],
)
def test_a_deed_is_called_by_what_changed(parts, called):
    assert deed(parts) == called
