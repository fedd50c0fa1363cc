"""Readings stay on disk until they are confirmed, whatever happens to board, medium and clock."""

import itertools
import os
import sqlite3
from contextlib import closing, suppress
from itertools import pairwise
from pathlib import Path

import pytest

from drumkeep_sensors.medium import BALLAST, short_of_room
from drumkeep_sensors.readings_spool import (
    PACK_RECORDS,
    PACKS_AHEAD,
    ReadingsSpool,
    Sample,
    SpoolError,
    SpoolFull,
)
from drumkeep_wire.records import Record
from drumkeep_wire.senml import decode_pack
from tests.fixtures.medium import medium

URN = "urn:dev:os:32473-attic"
START = "a3c1"
BOOTED = 1_790_000_000.0


def opened(folder: Path, *, most: int = 1000) -> ReadingsSpool:
    return ReadingsSpool(folder, urn=URN, most=most)


def reopened(spool: ReadingsSpool, folder: Path) -> ReadingsSpool:
    spool.close()
    return opened(folder)


def samples(*seconds: float, name: str = "hall") -> list[Sample]:
    return [Sample(name, "Cel", second / 10, second) for second in seconds]


def sent(spool: ReadingsSpool) -> list[Record]:
    packs = [decode_pack(payload, received_at=0) for payload in spool.packs.values()]
    numbers = [pack.spool.number for pack in packs if pack.spool]
    assert numbers == list(spool.packs)
    return [record for pack in packs for record in pack.records]


def test_a_spool_goes_on_after_a_restart(tmp_path: Path):
    spool = opened(tmp_path)
    spool.add(samples(1, 2.5), start=START, offset_s=BOOTED)
    spool.pack(at_once=True)
    before = dict(spool.packs)
    spool.add(samples(3), start=START, offset_s=BOOTED)
    spool.close()

    again = opened(tmp_path)
    assert (again.file, again.packs, again.count) == (spool.file, before, 3)
    again.pack(at_once=True)

    assert list(again.packs) == [1, 2]
    assert [(record.name, record.value, record.time) for record in sent(again)] == [
        ("hall", 0.1, BOOTED + 1),
        ("hall", 0.25, BOOTED + 2.5),
        ("hall", 0.3, BOOTED + 3),
    ]
    again.close()


def test_what_is_confirmed_is_forgotten_and_its_number_never_given_again(tmp_path: Path):
    spool = opened(tmp_path)
    for second in range(3):
        spool.add(samples(second), start=START, offset_s=BOOTED)
        spool.pack(at_once=True)

    assert spool.confirm(2) == [1, 2]
    assert spool.confirm(2) == []
    assert (list(spool.packs), spool.count) == ([3], 1)
    assert spool.confirm(3) == [3]
    spool.close()
    again = opened(tmp_path)
    again.add(samples(9), start=START, offset_s=BOOTED)
    again.pack(at_once=True)

    assert list(again.packs) == [4]
    again.close()


def test_away_from_the_broker_short_packs_are_not_made(tmp_path: Path):
    spool = opened(tmp_path, most=10_000)
    spool.add(samples(*range(PACK_RECORDS + 1)), start=START, offset_s=BOOTED)

    spool.pack(at_once=False)
    assert [len(decode_pack(each, received_at=0).records) for each in spool.packs.values()] == [200]
    spool.pack(at_once=True)
    assert len(sent(spool)) == PACK_RECORDS + 1
    spool.close()


def test_readings_wait_for_their_time_and_get_it_when_the_clock_is_known(tmp_path: Path):
    spool = opened(tmp_path)
    spool.add(samples(10, 20), start="before", offset_s=None)
    spool.add(samples(5, 6.125), start=START, offset_s=None)
    spool.pack(at_once=True)
    assert (spool.packs, spool.undated()) == ({}, 4)

    assert spool.date(start=START, offset_s=BOOTED) == 2
    spool.pack(at_once=True)

    assert [record.time for record in sent(spool)] == [BOOTED + 5, BOOTED + 6.125]
    # Those of an earlier start have no time that anybody knows: kept, and not sent.
    assert spool.undated() == 2
    spool.close()


def test_a_full_spool_is_thinned_from_its_old_end_and_keeps_every_sensor(tmp_path: Path):
    spool = opened(tmp_path, most=1000)
    for second in range(0, 3000, 10):
        span = range(second, second + 10)
        both = samples(*span) + samples(*span, name="dock")
        spool.add(both, start=START, offset_s=None)
        assert spool.count <= 1000
    spool.date(start=START, offset_s=BOOTED)
    # Confirming as it goes, all comes out.
    records = []
    while spool.count:
        spool.pack(at_once=True)
        records += sent(spool)
        spool.confirm(max(spool.packs))
    for name in ("hall", "dock"):
        times = [record.time - BOOTED for record in records if record.name == name]
        gaps = [after - before for before, after in pairwise(times)]
        assert times[0] == 0  # not cut: the oldest is there
        assert times[-1] == 2999
        assert gaps[-100:] == [1] * 100  # the newest are whole
        # 2900 s of the older part in three quarters of half the room: 8 s apart at best.
        assert max(gaps) <= 40
    spool.close()


def test_packs_that_were_made_are_never_thinned(tmp_path: Path):
    spool = opened(tmp_path, most=1000)
    spool.add(samples(*range(150)), start=START, offset_s=BOOTED)
    spool.pack(at_once=True)
    before = dict(spool.packs)
    for second in range(0, 3000, 10):
        spool.add(samples(*range(second, second + 10)), start=START, offset_s=BOOTED)
        spool.pack(at_once=False)
    first = min(before)

    assert spool.packs[first] == before[first]
    assert len(spool.packs) <= PACKS_AHEAD
    again = reopened(spool, tmp_path)
    assert again.packs[first] == before[first]
    again.close()


def test_a_medium_that_lost_what_it_held_begins_a_new_file(tmp_path: Path):
    spool = opened(tmp_path)
    spool.add(samples(1), start=START, offset_s=BOOTED)
    spool.pack(at_once=True)
    file = spool.file

    # The service stored pack 7 of this file, and the file knows of one.
    assert spool.confirm(7) == []

    assert spool.file != file
    spool.pack(at_once=True)
    assert len(sent(spool)) == 1
    spool.close()


def test_a_service_that_was_set_back_is_sent_in_a_new_file_what_it_has_not_confirmed(
    tmp_path: Path,
):
    spool = opened(tmp_path)
    for second in range(5):
        spool.add(samples(second), start=START, offset_s=BOOTED)
        spool.pack(at_once=True)
    assert spool.confirm(3) == [1, 2, 3]
    file = spool.file

    # As it may have waited at the broker since: nothing is wrong.
    assert spool.confirm(1, live=False) == []
    assert (spool.file, list(spool.packs)) == (file, [4, 5])
    # Stored up to 1 once more, and of 2 and 3 there is nothing here: 4 would wait for them.
    assert spool.confirm(1) == []

    assert spool.file != file
    spool.pack(at_once=True)
    assert [record.time for record in sent(spool)] == [BOOTED + 3, BOOTED + 4]
    spool.confirm(max(spool.packs))
    # With nothing left to send as well.
    file = spool.file
    assert spool.confirm(0) == []
    assert spool.file != file
    spool.close()


def test_a_full_medium_is_told_and_nothing_is_half_kept(tmp_path: Path):
    spool = opened(tmp_path, most=50_000)
    (pages,) = spool._db.execute("PRAGMA page_count").fetchone()
    spool._db.execute(f"PRAGMA max_page_count = {pages + 2}")
    kept = 0
    with pytest.raises(SpoolFull, match="full"):  # noqa: PT012 - whichever of many
        while True:
            spool.add(samples(*range(100)), start=START, offset_s=BOOTED)
            kept += 100
    assert spool.count == kept
    spool._db.execute(f"PRAGMA max_page_count = {pages + 1000}")
    spool.add(samples(1), start=START, offset_s=BOOTED)
    again = reopened(spool, tmp_path)

    assert again.count == kept + 1
    again.close()


def test_a_broken_file_is_kept_aside(tmp_path: Path):
    spool = opened(tmp_path)
    spool.close()
    (tmp_path / "readings.db").write_bytes(b"no database at all" * 300)

    again = opened(tmp_path)

    assert again.file != spool.file
    assert (tmp_path / "readings.db.broken").exists()
    again.close()


def test_whatever_a_power_cut_leaves_of_the_log_is_a_beginning_of_what_was_kept(tmp_path: Path):
    spool = opened(tmp_path / "whole")
    for second in range(40):
        spool.add(samples(second), start=START, offset_s=BOOTED)
        if second % 10 == 9:
            spool.pack(at_once=True)
    log = (tmp_path / "whole" / "readings.db-wal").read_bytes()
    database = (tmp_path / "whole" / "readings.db").read_bytes()
    spool.close()
    found = []
    for length in range(0, len(log), 1777):
        folder = tmp_path / f"cut-{length}"
        folder.mkdir()
        (folder / "readings.db").write_bytes(database)
        # The rest of the last block as a medium may leave it: old, or never written.
        (folder / "readings.db-wal").write_bytes(log[:length] + b"\xff" * 500)
        cut = opened(folder)
        seconds = [
            second
            for (second,) in cut._db.execute(
                "SELECT since_start_ms / 1000 FROM reading ORDER BY seq"
            )
        ]
        assert seconds == list(range(len(seconds)))
        assert not list(folder.glob("*.broken"))
        cut.add(samples(99), start=START, offset_s=BOOTED)
        found.append(len(seconds))
        cut.close()

    assert found == sorted(found)
    assert found[-1] >= 39


def test_every_commit_is_flushed(tmp_path: Path):
    spool = opened(tmp_path)

    # 2 is FULL: the log is flushed at each commit (sqlite.org/pragma.html#pragma_synchronous).
    assert spool._db.execute("PRAGMA synchronous").fetchone() == (2,)
    assert spool._db.execute("PRAGMA journal_mode").fetchone() == ("wal",)
    spool.add(samples(1), start=START, offset_s=None)
    with closing(sqlite3.connect(tmp_path / "readings.db")) as other:
        assert other.execute("SELECT count(*) FROM reading").fetchone() == (1,)
    spool.close()


def test_the_names_of_the_folders_that_it_makes_are_flushed(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
):
    flushed: list[Path] = []
    fsync = os.fsync

    def noted(number: int) -> None:
        flushed.append(Path(f"/proc/self/fd/{number}").resolve())
        fsync(number)

    monkeypatch.setattr(os, "fsync", noted)
    opened(tmp_path / "lib" / "state").close()
    assert flushed == [tmp_path / "lib", tmp_path]  # each holds the name of one that is new

    opened(tmp_path / "lib" / "state").close()
    assert len(flushed) == 2


def test_one_process_at_a_time_uses_a_folder(tmp_path: Path):
    spool = opened(tmp_path)
    with pytest.raises(SpoolError, match="another process"):
        opened(tmp_path)
    spool.close()

    (tmp_path / "file").write_text("")
    with pytest.raises(SpoolError, match="cannot be used"):
        opened(tmp_path / "file" / "state")


def test_a_medium_without_room_is_told_with_how_much_there_is(tmp_path):
    with medium(tmp_path / "card", octets=40_960) as card, pytest.raises(SpoolError) as refused:
        opened(card.folder / "state")

    assert "database or disk is full, and only " in str(refused.value)
    assert " kB are free there. Name a folder" in str(refused.value)


@pytest.mark.parametrize("restarted", [False, True])
@pytest.mark.parametrize("by_itself", [False, True])
def test_a_spool_on_a_full_medium_drains_and_takes_readings_again(
    tmp_path: Path, *, by_itself: bool, restarted: bool
):
    with medium(tmp_path / "card", octets=3 * 2**20) as card:
        state = card.folder / "state"
        spool = opened(state, most=1_000_000)
        if not by_itself:
            spool.add(samples(*range(1000)), start=START, offset_s=BOOTED)
            card.fill()
        kept = filled(spool)
        with suppress(SpoolFull):
            spool.pack(at_once=False)  # as it goes on trying while nobody takes them
        assert filled(spool) < kept + 100
        if restarted:
            spool.close()
            spool = opened(state, most=1_000_000)
        drain(spool)

        if by_itself:  # it has given its room back, and the next outage ends as well
            assert (state / "ballast").stat().st_size == BALLAST
            assert filled(spool) > 0.9 * kept
            drain(spool)
        else:
            card.clear()
        spool.add(samples(1), start=START, offset_s=BOOTED)
        spool.close()


def filled(spool: ReadingsSpool) -> int:
    with pytest.raises(SpoolFull):  # noqa: PT012 - whichever of many
        for second in itertools.count(0, 50):
            spool.add(samples(*range(second, second + 50)), start=START, offset_s=BOOTED)
    return spool.count


def drain(spool: ReadingsSpool) -> None:
    while spool.count:
        spool.pack(at_once=True)
        spool.confirm(max(spool.packs))


def test_a_medium_too_small_for_what_may_be_kept_is_told_with_what_fits(tmp_path: Path):
    with medium(tmp_path / "card", octets=10 * 2**20) as card:
        state = card.folder / "not" / "made"
        told = short_of_room(state, 1_000_000)
        assert told is not None
        assert "spool.readings 1000000 may take 62 MB" in told
        fitting = int(told.partition("set spool.readings to ")[2].partition(" ")[0])
        assert short_of_room(state, fitting) is None
        assert short_of_room(state, fitting + 1000) is not None

        # What the spool itself has taken already counts as room.
        spool = opened(state, most=fitting)
        spool.add(samples(*range(20_000)), start=START, offset_s=BOOTED)
        assert short_of_room(state, fitting - 1000) is None
        spool.close()
