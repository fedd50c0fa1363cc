"""``drumkeep import air-forecast``: checked, then stored, and every fault named."""

from datetime import UTC, datetime, timedelta

import pytest

from drumkeep.cli.main import main
from drumkeep.operations.air_forecasts import newest_forecast
from drumkeep.operations.sites import create_site
from drumkeep.storage import schema
from drumkeep.storage.engine import create
from drumkeep.storage.transaction import reading, transaction


def lines(*, zone="+00:00"):
    start = datetime.now(UTC).replace(tzinfo=None, microsecond=0)  # noqa: TID251 - the command reads the clock
    rows = [f"{(start + timedelta(hours=h)).isoformat()}{zone},{20 + h}" for h in range(24)]
    return "\n".join(["time,temperature_f", *rows]) + "\n"


@pytest.fixture
def engine(tmp_path):
    engine = create(f"sqlite:///{tmp_path}/drumkeep.db")
    schema.upgrade(engine)
    with transaction(engine) as tx:
        create_site(tx, code="north", name="North", timezone="America/Chicago")
    yield engine
    engine.dispose()


@pytest.fixture
def imported(engine, tmp_path):  # noqa: ARG001 - the database of the folder
    def run(text, *options, site="north"):
        file = tmp_path / "air.csv"
        file.write_text(text, encoding="utf-8")
        return main(
            ["import", "air-forecast", site, str(file), "--data-dir", str(tmp_path), *options]
        )

    return run


def stored(engine):
    with reading(engine) as tx:
        return len(newest_forecast(tx, site="north").points)


def test_a_file_is_stored_and_told_of(engine, imported, capsys):
    assert imported(lines()) == 0
    assert stored(engine) == 24
    # 20 to 43 °F
    assert "24 points" in (said := capsys.readouterr().out)
    assert "-6.7 to 6.1 °C" in said


def test_checking_stores_nothing(engine, imported, capsys):
    assert imported(lines(), "--check") == 0
    assert "Nothing was stored" in capsys.readouterr().out
    with pytest.raises(Exception, match="no forecast"):
        stored(engine)


@pytest.mark.parametrize(
    ("text", "options", "words"),
    [
        (lines(zone=""), (), "without a zone"),
        ("time,kelvin\n", (), "no such header"),
        ("", (), "lines.1"),
        (lines(), ("--issued-at", "yesterday"), "--issued-at"),
        (lines(), ("--issued-at", "2020-01-01T00:00Z"), "issued_at"),
        (lines(), ("--issued-at", "0001-01-01T00:00+14:00"), "--issued-at"),
    ],
)
def test_what_cannot_be_read_is_said_with_its_line(imported, capsys, text, options, words):
    assert imported(text, *options) == 2
    assert words in capsys.readouterr().err


def test_a_site_that_is_not_there_is_named(imported, capsys):
    assert imported(lines(), "--check", site="south") == 2
    assert "south" in capsys.readouterr().err


def test_a_file_that_is_not_there_is_named(tmp_path, capsys):
    missing = str(tmp_path / "none.csv")

    assert main(["import", "air-forecast", "north", missing, "--data-dir", str(tmp_path)]) == 2
    assert "none.csv" in capsys.readouterr().err
