"""What a session at the broker may hold is on record under the name of its client."""

import pytest

from drumkeep.storage import subscriptions
from drumkeep.storage.transaction import reading, transaction
from tests.fixtures.shed import shed

__all__ = ["shed"]
pytestmark = pytest.mark.both_stores


def note(shed, client_id, *topics):
    with transaction(shed.engine) as tx:
        subscriptions.note(tx, client_id=client_id, topics=topics)


def held(shed, client_id):
    with reading(shed.engine) as tx:
        return subscriptions.held_by(tx, client_id=client_id)


def test_each_client_has_its_own_and_the_last_word_counts(shed):
    note(shed, "one", "a/+", "b/#")
    note(shed, "two", "a/+")
    assert held(shed, "one") == {"a/+", "b/#"}

    note(shed, "one", "b/#", "c")
    note(shed, "two")
    assert held(shed, "one") == {"b/#", "c"}
    assert held(shed, "two") == frozenset()
