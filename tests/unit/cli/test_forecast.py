"""``drumkeep forecast``: the same words and numbers as the service's, without it."""

import json
import subprocess
import sys

import pytest

from drumkeep.cli.main import main
from tests.builders.forecasts import BAD, asked
from tests.fixtures.serving import manager, serving

__all__ = ["manager", "serving"]


@pytest.fixture
def forecast(tmp_path, capsys):
    """Return a function that runs the command on a body: exit code, output, lines of errors."""

    def run(body):
        file = tmp_path / "asked.json"
        file.write_bytes(body if isinstance(body, bytes) else json.dumps(body).encode())
        code = main(["forecast", str(file)])
        captured = capsys.readouterr()
        return code, captured.out, captured.err.splitlines()

    return run


def piped(body: bytes) -> subprocess.CompletedProcess[bytes]:
    return subprocess.run(
        [sys.executable, "-m", "drumkeep", "forecast", "-"],
        input=body,
        capture_output=True,
        check=False,
    )


def test_the_answer_is_that_of_the_service(forecast, manager):
    body = asked(
        side="resin",
        air_c=[{"h": 0, "c": 4}, {"h": 6, "c": 27.25}],
        targets_c=[10.0, 21.1],
        setting={"motion": "fan", "standing": "slab", "share": 0.75},
    )
    code, out, errors = forecast(body)

    assert (code, errors) == (0, [])
    assert json.loads(out) == manager.post("/api/v1/forecasts", json=body).json()


@pytest.mark.parametrize("wrong", BAD)
def test_bad_input_says_what_the_service_says_and_ends_with_2(forecast, manager, wrong):
    body, fields = BAD[wrong]
    code, out, (title, *faults) = forecast(body)
    problem = manager.post(
        "/api/v1/forecasts",
        content=json.dumps(body),
        headers={"Content-Type": "application/json"},
    ).json()

    assert (code, out) == (2, "")
    assert title.startswith("drumkeep: ")
    assert len(faults) == len(problem["errors"])
    for line, error in zip(faults, problem["errors"], strict=True):
        assert line.startswith(error["field"] or ("What was given", "["))
        assert line.endswith(f"{error['problem']}. {error['mend']}")
    assert [error["field"] for error in problem["errors"]][: len(fields)] == fields


def test_each_fault_is_one_line_with_field_value_and_mend(forecast):
    _, _, (_, *faults) = forecast(asked(air_c=[{"h": 0, "c": 4}, {"h": "x", "c": 900}]))

    assert faults == [
        "air_c.1.h 'x' is not a number. Write a number without quotes, as in 21.5.",
        "air_c.1.c 900 is too large. Write at most 150.0.",
    ]


@pytest.mark.parametrize(
    ("body", "problem"),
    [
        (b"", "is not JSON"),
        (b"side: iso", "is not JSON"),
        (b'{"side": "iso"', "is not JSON"),
        (b"\xff\xfe\x00\xd8", "is not JSON"),
        (b"[" * 100_000, "nesting too deep"),
        (b'{"side": ' + b"9" * 5000 + b"}", "a number is too long"),
        (json.dumps(asked(side="\ud800")).encode(), "surrogate"),
        (json.dumps(asked(**{"\ud800": 1})).encode(), "surrogate"),
    ],
    ids=["empty", "yaml", "cut off", "binary", "deep", "long number", "surrogate", "field"],
)
def test_what_is_not_json_is_said_on_one_line(forecast, body, problem):
    code, out, errors = forecast(body)

    assert (code, out, len(errors)) == (2, "", 2)
    assert problem in errors[1]
    assert len(errors[1]) < 400


def test_a_long_value_is_cut_short(forecast):
    code, _, (_, fault) = forecast(asked(side="x" * 9000))

    assert code == 2
    assert len(fault) < 300


def test_a_name_with_line_breaks_in_it_stays_on_one_line(forecast):
    _, _, (_, fault) = forecast(asked(**{"a\nb\x1b[31m": 1}))

    assert fault.startswith(r"'a\nb\x1b[31m' is not known here.")


def test_a_file_over_a_mebibyte_is_refused(forecast):
    code, _, (_, fault) = forecast(b" " * (1024 * 1024) + json.dumps(asked()).encode())

    assert code == 2
    assert "is larger than 1 MiB" in fault


def test_a_file_of_a_mebibyte_is_read(forecast):
    body = json.dumps(asked()).encode()

    assert forecast(body + b" " * (1024 * 1024 - len(body)))[0] == 0


def test_an_endless_file_is_refused(capsys):
    assert main(["forecast", "/dev/zero"]) == 2
    assert "is larger than 1 MiB" in capsys.readouterr().err


@pytest.mark.parametrize("name", ["missing.json", ".", "a\0b"])
def test_a_file_that_cannot_be_read_is_named(tmp_path, monkeypatch, capsys, name):
    monkeypatch.chdir(tmp_path)

    assert main(["forecast", name]) == 2
    _title, fault = capsys.readouterr().err.splitlines()
    assert fault.startswith(f"FILE {name!r} cannot be read: ")
    assert fault.endswith("Name a file that holds the JSON, or - for standard input.")


def test_a_dash_reads_standard_input():
    done = piped(json.dumps(asked()).encode())

    assert (done.returncode, done.stderr) == (0, b"")
    assert json.loads(done.stdout)["h"] == [0.0, 0.5, 1.0, 1.5, 2.0]


def test_bad_standard_input_ends_with_2_and_no_stack():
    done = piped(b'{"side": "iso", "air_c": NaN, "start_c": 4}')

    assert (done.returncode, done.stdout) == (2, b"")
    assert done.stderr.decode().splitlines()[1:] == [
        "air_c nan is not a finite number. Write an ordinary number."
    ]


def test_it_brings_neither_database_nor_pages_with_it():
    # so that it answers at once: the whole service takes over a second to import
    code = (
        "import sys; from drumkeep.cli.main import make_parser; make_parser('forecast');"
        "print(*sorted({name.partition('.')[0] for name in sys.modules}))"
    )
    done = subprocess.run(
        [sys.executable, "-c", code], capture_output=True, check=True, encoding="utf-8"
    )

    assert "numpy" in done.stdout.split()
    assert not {"alembic", "apscheduler", "bokeh", "jinja2", "paho", "sqlalchemy", "sqlmodel"} & {
        *done.stdout.split()
    }
