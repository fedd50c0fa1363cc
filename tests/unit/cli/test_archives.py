"""``drumkeep export all`` and ``import all``: to a file and back, and who may sign in then."""

import io

import pytest

from drumkeep.cli.main import main
from drumkeep.operations.accounts import account_named, password_holds
from drumkeep.storage.engine import create
from drumkeep.storage.transaction import reading

PASSWORD = "seven green ladders"


@pytest.fixture
def folders(tmp_path):
    old, new = tmp_path / "old", tmp_path / "new"
    old.mkdir()
    new.mkdir()
    return old, new


def password(folder, action, monkeypatch):
    monkeypatch.setattr("sys.stdin", io.StringIO(f"{PASSWORD}\n"))
    return main(["account", action, "ana", "--data-dir", str(folder), "--password-stdin"])


def opens(folder):
    engine = create(f"sqlite:///{folder}/drumkeep.db")
    with reading(engine) as tx:
        found = password_holds(account_named(tx, name="ana"), password=PASSWORD)
    engine.dispose()
    return found


def test_a_store_goes_through_a_file_and_its_people_need_new_passwords(
    folders, tmp_path, monkeypatch, capsys
):
    old, new = folders
    password(old, "create", monkeypatch)
    capsys.readouterr()
    file = tmp_path / "all.jsonl"
    assert main(["export", "all", "--data-dir", str(old)]) == 0
    file.write_text(capsys.readouterr().out, encoding="utf-8")

    there = ["import", "all", str(file), "--data-dir", str(new)]
    assert main([*there, "--check"]) == 0
    assert "Nothing was stored" in capsys.readouterr().out
    assert main(there) == 0
    assert "Nobody can sign in yet" in capsys.readouterr().out
    assert not opens(new)
    assert password(new, "password", monkeypatch) == 0
    assert opens(new)
    assert main(there) == 2
    assert "holds 1 row already" in capsys.readouterr().err


def test_what_is_no_archive_and_what_has_no_parts_are_said(folders, tmp_path, capsys):
    old, _ = folders
    missing = str(tmp_path / "missing.jsonl")
    assert main(["import", "all", missing, "--data-dir", str(old)]) == 2
    assert "The archive cannot be brought in" in capsys.readouterr().err
    assert main(["export", "all", "--site", "north", "--data-dir", str(old)]) == 2
    assert "Leave --site and times out" in capsys.readouterr().err
    assert main(["import", "drums", missing, "--data-dir", str(old)]) == 2
    assert "The spreadsheet cannot be used" in capsys.readouterr().err
