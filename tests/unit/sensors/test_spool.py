"""Packs stay on disk until they are confirmed, and a number is never given twice."""

from pathlib import Path

import pytest

from drumkeep_sensors.spool import PackSpool, SpoolError


def reopened(spool: PackSpool, folder: Path) -> PackSpool:
    spool.close()
    return PackSpool(folder)


def test_a_spool_goes_on_after_a_restart(tmp_path: Path):
    spool = PackSpool(tmp_path / "state")
    assert (spool.next_number, spool.packed_to, spool.packs) == (1, None, {})
    spool.add(b"one")
    spool.add(b"two")
    spool.save(packed_to=1_770_000_000)

    again = reopened(spool, tmp_path / "state")

    assert again.file == spool.file
    assert again.packs == {1: b"one", 2: b"two"}
    assert (again.next_number, again.packed_to) == (3, 1_770_000_000)
    again.close()


def test_what_is_confirmed_is_forgotten_and_its_number_never_given_again(tmp_path: Path):
    spool = PackSpool(tmp_path)
    for payload in (b"one", b"two", b"three"):
        spool.add(payload)
    spool.save()

    assert spool.confirm(2) == [1, 2]
    assert spool.confirm(2) == []
    again = reopened(spool, tmp_path)

    assert again.packs == {3: b"three"}
    assert again.confirm(10) == [3]
    last = reopened(again, tmp_path)
    assert last.next_number == 4
    last.close()


def test_a_pack_written_just_before_a_power_cut_keeps_its_number(tmp_path: Path):
    spool = PackSpool(tmp_path)
    spool.add(b"one")  # and the state was never saved

    again = reopened(spool, tmp_path)

    assert again.packs == {1: b"one"}
    assert again.next_number == 2
    again.close()


def test_a_state_that_cannot_be_read_begins_a_new_spool_file(tmp_path: Path):
    spool = PackSpool(tmp_path)
    spool.add(b"one")
    (tmp_path / "state.json").write_bytes(b"{")

    again = reopened(spool, tmp_path)

    assert again.file != spool.file
    assert (again.packs, again.next_number) == ({}, 1)
    again.close()


def test_one_process_at_a_time_uses_a_folder(tmp_path: Path):
    spool = PackSpool(tmp_path)
    with pytest.raises(SpoolError, match="another process"):
        PackSpool(tmp_path)
    spool.close()

    (tmp_path / "file").write_text("")
    with pytest.raises(SpoolError, match="cannot be used"):
        PackSpool(tmp_path / "file" / "state")
