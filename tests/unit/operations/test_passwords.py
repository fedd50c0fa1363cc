from datetime import UTC, datetime

from drumkeep.operations import accounts
from drumkeep.storage.transaction import transaction
from tests.fixtures.shed import shed

__all__ = ["shed"]


def test_a_password_costs_a_guess_what_the_standard_asks(shed, shipped_hashes, monkeypatch):
    # RFC 9106 section 4, second recommended option: Argon2id, t=3, p=4, m=2^16 KiB, a salt of 128
    # bits and a tag of 256: 22 and 43 characters of unpadded Base64.
    monkeypatch.setattr(accounts, "_HASHES", shipped_hashes)
    with transaction(shed.engine) as tx:
        made = accounts.create_account(
            tx,
            name="anna",
            display_name="Anna",
            role="crew",
            password="seven green ladders",
            now=datetime(2026, 2, 4, tzinfo=UTC),
        )

        assert accounts.password_holds(made, password="seven green ladders")
        assert not accounts.password_holds(made, password="seven green ladder")
        kind, version, costs, salt, tag = made.password_hash.strip("$").split("$")
    assert (kind, version, costs) == ("argon2id", "v=19", "m=65536,t=3,p=4")
    assert (len(salt), len(tag)) == (22, 43)
