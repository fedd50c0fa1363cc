"""A clock is believed when it says why, and never before its release."""

from datetime import UTC, datetime

from drumkeep_sensors.clock import EARLIEST_S, BoardClock, since_start_s, synchronised


class Board:
    wall = 0.0
    since_start = 100.0
    trusted = False

    def clock(self) -> BoardClock:
        return BoardClock(
            wall=lambda: self.wall,
            since_start=lambda: self.since_start,
            trusted=lambda: self.trusted,
        )


def test_a_clock_that_was_never_set_is_not_believed():
    board = Board()
    clock = board.clock()
    for board.trusted in (False, True):
        assert clock.offset_s() is None

    board.wall, board.trusted = EARLIEST_S + 500, False
    assert clock.offset_s() is None
    board.trusted = True
    assert clock.offset_s() == EARLIEST_S + 400


def test_a_clock_once_known_stays_known_when_the_time_server_is_gone():
    board = Board()
    board.wall, board.trusted = EARLIEST_S + 500, True
    clock = board.clock()
    assert clock.offset_s() == EARLIEST_S + 400

    board.trusted = False
    board.wall, board.since_start = 5.0, 160.0

    assert clock.offset_s() == EARLIEST_S + 400


def test_a_clock_that_is_set_while_believed_is_followed():
    board = Board()
    board.wall, board.trusted = EARLIEST_S + 500, True
    clock = board.clock()
    clock.offset_s()
    board.wall += 3600

    assert clock.offset_s() == EARLIEST_S + 4000


def test_the_earliest_time_is_the_start_of_a_year():
    assert datetime.fromtimestamp(EARLIEST_S, UTC) == datetime(2026, 1, 1, tzinfo=UTC)


def test_the_kernel_is_asked():
    assert synchronised() in {True, False}
    assert 0 < since_start_s() <= since_start_s()
