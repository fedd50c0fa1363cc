"""Queries on what sessions at the broker may hold."""

from collections.abc import Collection

from sqlalchemy import delete
from sqlmodel import col, select

from drumkeep.storage.tables.subscriptions import Subscription
from drumkeep.storage.transaction import Tx


def held_by(tx: Tx, *, client_id: str) -> frozenset[str]:
    """Return the filters that the session of this client may hold."""
    statement = select(Subscription.topic).where(Subscription.client_id == client_id)
    return frozenset(tx.session.exec(statement).all())


def note(tx: Tx, *, client_id: str, topics: Collection[str]) -> None:
    """Note that the session of this client may hold these filters and no others."""
    held = held_by(tx, client_id=client_id)
    tx.session.execute(
        delete(Subscription).where(
            col(Subscription.client_id) == client_id,
            col(Subscription.topic).in_(held - set(topics)),
        )
    )
    tx.session.add_all(Subscription(client_id=client_id, topic=t) for t in set(topics) - held)
    tx.session.flush()
