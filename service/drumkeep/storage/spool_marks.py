"""How much of each gateway's spool files is stored."""

from collections.abc import Collection, Mapping
from datetime import datetime
from typing import Final

from sqlmodel import col, select

from drumkeep.storage.bulk import keyed
from drumkeep.storage.tables.readings import SpoolMark
from drumkeep.storage.transaction import Tx

REMEMBERED: Final = 4096
"""Numbers past a hole that are remembered; those past the limit come again from the gateway."""

SPOOLS_KEPT: Final = 32
"""Spool files of one gateway that are remembered; a forgotten one begins anew."""


SpoolFile = tuple[int, str]
"""A gateway's id and the name of one of its spool files."""


def advance(
    tx: Tx, *, stored: Mapping[SpoolFile, Collection[int]], now: datetime
) -> dict[SpoolFile, int]:
    """Note packs of spool files as stored.

    A file never seen begins at the lowest of its numbers: what came before it was confirmed in
    an earlier life of this database. Whoever sends must therefore begin a file's first sending
    with its oldest pack.

    Parameters
    ----------
    stored
        At least one number of each file.

    Returns
    -------
    dict
        The number up to which every pack of a file is stored.
    """
    wanted = keyed(tx.session.connection(), col(SpoolMark.gateway_id), [one for one, _ in stored])
    marks = {
        (mark.gateway_id, mark.spool): mark
        for mark in tx.session.exec(select(SpoolMark).where(wanted))
    }
    for file, numbers in stored.items():
        mark = marks.get(file)
        if mark is None:
            gateway_id, spool = file
            mark = SpoolMark(
                gateway_id=gateway_id, spool=spool, upto=min(numbers) - 1, changed_at=now
            )
            marks[file] = mark
            tx.session.add(mark)
            _forget_oldest(tx, gateway_id)
        _reach(mark, numbers)
        mark.changed_at = now
    tx.session.flush()
    return {file: marks[file].upto for file in stored}


def _reach(mark: SpoolMark, numbers: Collection[int]) -> None:
    """Raise a mark to the first number that is missing, and remember those past it."""
    known = set(numbers).union(mark.beyond)
    upto = mark.upto
    while upto + 1 in known:
        upto += 1
    mark.upto = upto
    mark.beyond = sorted(number for number in known if number > upto)[:REMEMBERED]


def _forget_oldest(tx: Tx, gateway_id: int) -> None:
    """Keep the rows bounded whatever a gateway sends."""
    statement = (
        select(SpoolMark)
        .where(SpoolMark.gateway_id == gateway_id)
        .order_by(col(SpoolMark.changed_at).desc())
        .offset(SPOOLS_KEPT)
    )
    for old in tx.session.exec(statement).all():
        tx.session.delete(old)
