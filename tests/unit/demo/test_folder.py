"""The demo keeps to its own folder and its secrets to itself."""

import re
import stat
from collections.abc import Iterator
from datetime import UTC, datetime
from pathlib import Path

import pytest

from drumkeep.demo.folder import Folder, State
from drumkeep.demo.sign_ins import PEOPLE, passphrase, sign_ins
from drumkeep.errors import Unavailable

NOW = datetime(2026, 11, 25, 15, 0, 7, 250_000, tzinfo=UTC)


@pytest.fixture
def folder(tmp_path: Path) -> Iterator[Folder]:
    with Folder(tmp_path / "demo") as made:
        yield made


def test_one_demo_at_a_time_uses_a_folder(tmp_path: Path):
    with Folder(tmp_path / "demo"), pytest.raises(Unavailable, match="Another demo uses"):
        Folder(tmp_path / "demo")

    with Folder(tmp_path / "demo") as free_again:
        assert free_again.path.is_dir()


def test_a_folder_of_somebody_elses_is_left_alone(tmp_path: Path):
    (tmp_path / "thesis.txt").write_text("mine")

    with pytest.raises(Unavailable, match="holds other things"):
        Folder(tmp_path)
    assert [file.name for file in tmp_path.iterdir()] == ["thesis.txt"]


def test_the_story_begins_once(folder: Folder):
    folder.keep(folder.state(now=NOW))

    later = folder.state(now=datetime(2027, 1, 1, tzinfo=UTC))

    assert later == State(begun=NOW.replace(microsecond=0))


def test_starting_over_forgets_everything(folder: Folder):
    folder.keep(State(begun=NOW, broker_port=1234, seeded=True))
    before = sign_ins(folder)
    (folder.part("service") / "drumkeep.db").write_text("")

    folder.clear()

    assert {file.name for file in folder.path.iterdir()} == {"lock"}
    assert folder.state(now=NOW) == State(begun=NOW.replace(microsecond=0))
    assert sign_ins(folder) != before


def test_a_damaged_file_is_said_with_its_mend(folder: Folder):
    (folder.path / "demo.json").write_text("{")

    with pytest.raises(Unavailable, match="--fresh"):
        folder.state(now=NOW)


def test_sign_ins_stay_and_only_their_owner_reads_them(folder: Folder):
    made = sign_ins(folder)

    assert made == sign_ins(folder)
    assert list(made) == [role for _, _, role in PEOPLE]
    mode = (folder.path / "sign-ins.json").stat().st_mode
    assert stat.S_IMODE(mode) == 0o600
    assert stat.S_IMODE(folder.path.stat().st_mode) == 0o700


def test_a_passphrase_can_be_spoken_and_is_no_other():
    made = {passphrase() for _ in range(1000)}

    assert len(made) == 1000
    pair = "[bdfgklmnprstvz][aeiou]"
    assert all(re.fullmatch(f"({pair}{pair}-){{3}}{pair}{pair}", told) for told in made)
