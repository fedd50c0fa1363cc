"""What cannot be done with what was given is said plainly; the command itself: end_to_end."""

import io

import pytest

from drumkeep.cli.main import main


@pytest.mark.parametrize(
    ("arguments", "said"),
    [
        (["serve", "--port", "eighty"], "DRUMKEEP_PORT"),
        (["account", "create", "Anna B", "--password-stdin"], "small letters"),
    ],
)
def test_what_cannot_be_used_is_said(tmp_path, monkeypatch, capsys, arguments, said):
    monkeypatch.setattr("sys.stdin", io.StringIO("seven green ladders\n"))

    assert main([*arguments, "--data-dir", str(tmp_path)]) == 2

    assert said in capsys.readouterr().err


@pytest.mark.parametrize(
    ("arguments", "said"),
    [
        (["serve", "--only", "web,mail"], "web,ingest,schedule"),
        (["account", "create", "anna", "--password-stdin", "--role", "boss"], "boss"),
    ],
)
def test_what_is_no_choice_is_said(tmp_path, capsys, arguments, said):
    with pytest.raises(SystemExit) as ended:
        main([*arguments, "--data-dir", str(tmp_path)])

    assert ended.value.code == 2
    assert said in capsys.readouterr().err
