"""Samples come into the spool, with their time once it is known, and past a full medium."""

from pathlib import Path

from drumkeep_sensors.clock import EARLIEST_S, BoardClock
from drumkeep_sensors.gateway import Keeper
from drumkeep_sensors.readings_spool import ReadingsSpool, Sample
from drumkeep_wire.senml import decode_pack

URN = "urn:dev:os:32473-attic"


class Board:
    wall = 0.0
    since_start = 0.0
    trusted = False

    def keeper(self, spool: ReadingsSpool, start: str = "one") -> Keeper:
        clock = BoardClock(
            wall=lambda: self.wall,
            since_start=lambda: self.since_start,
            trusted=lambda: self.trusted,
        )
        return Keeper(spool, clock=clock, start=start)

    def sample(self, at: float) -> list[Sample]:
        self.since_start = at
        return [Sample("hall", "Cel", 4.0, at)]


def times(spool: ReadingsSpool) -> list[float]:
    spool.pack(at_once=True)
    packs = [decode_pack(payload, received_at=0) for payload in spool.packs.values()]
    return [record.time for pack in packs for record in pack.records]


def test_readings_of_an_unset_clock_are_sent_with_their_time_once_it_is_known(tmp_path: Path):
    spool = ReadingsSpool(tmp_path, urn=URN, most=1000)
    board = Board()
    keeper = board.keeper(spool)
    keeper.keep(board.sample(10))
    keeper.keep(board.sample(70))
    assert times(spool) == []

    board.wall, board.trusted = EARLIEST_S + 130, True
    keeper.keep(board.sample(130))

    assert times(spool) == [EARLIEST_S + 10, EARLIEST_S + 70, EARLIEST_S + 130]
    spool.close()


def test_readings_of_a_start_whose_time_was_never_known_are_kept_and_not_sent(tmp_path: Path):
    spool = ReadingsSpool(tmp_path, urn=URN, most=1000)
    board = Board()
    board.keeper(spool, "one").keep(board.sample(10))
    board.wall, board.trusted = EARLIEST_S + 500, True
    board.keeper(spool, "two").keep(board.sample(20))

    assert times(spool) == [EARLIEST_S + 500]
    assert (spool.undated(), spool.count) == (1, 2)
    spool.close()


def test_what_a_full_medium_does_not_take_waits_in_memory(tmp_path: Path):
    spool = ReadingsSpool(tmp_path, urn=URN, most=10_000)
    board = Board()
    board.wall, board.trusted = EARLIEST_S, True
    keeper = board.keeper(spool)
    (pages,) = spool._db.execute("PRAGMA page_count").fetchone()
    spool._db.execute(f"PRAGMA max_page_count = {pages + 2}")
    for second in range(500):
        keeper.keep(board.sample(second))
    assert 0 < spool.count < 500

    spool._db.execute(f"PRAGMA max_page_count = {pages + 1000}")
    keeper.keep(board.sample(500))

    assert spool.count == 501
    spool.close()
