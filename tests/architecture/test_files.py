"""Files stay short, named for what they hold, and free of any one machine."""

import ast
import re

from tests.fixtures.checkout import CHECKOUT, files

LONGEST = 600
LONG = 400
# The docstring of a long module says why it is one piece: "Over 400 lines because …".
EXCUSE = f"Over {LONG} lines because "
TOP_LEVEL = {
    "README.md",
    "DEVELOPERS.md",
    "pyproject.toml",
    "service",
    "sensors",
    "tests",
    "deploy",
}
# Written by alembic, as long as what changed.
MIGRATIONS = CHECKOUT / "service" / "drumkeep" / "storage" / "migrations" / "versions"
NAMELESS = {"utils", "util", "helpers", "common", "core", "base", "misc", "manager", "managers"}
# Folders that belong to somebody's machine.
ABSOLUTE = re.compile(r"(?<![\w.:}>-])/(?:home|root|work|Users|opt|mnt)/")
# A pinned list installs from whatever index a machine is set up with.
INDEX = re.compile(
    r"pypi[.]org|pythonhosted[.]|npmjs[.]|(?:deb|ftp)[.]debian[.]|--(?:extra-)?index-url"
)
TEXT = {
    "", ".css", ".html", ".ini", ".js", ".json", ".md", ".mako", ".py", ".sh", ".svg", ".toml",
    ".txt", ".csv", ".conf",
}  # fmt: skip


def lengths() -> dict[str, int]:
    return {
        str(path.relative_to(CHECKOUT)): len(path.read_text().splitlines())
        for path in files(suffix=".py")
        if path.parent != MIGRATIONS
    }


def test_no_module_is_over_the_limit():
    assert {name: length for name, length in lengths().items() if length > LONGEST} == {}


def test_a_long_module_says_why():
    def says_why(name: str) -> bool:
        docstring = ast.get_docstring(ast.parse((CHECKOUT / name).read_text())) or ""
        return EXCUSE in " ".join(docstring.split())

    long = {name: length for name, length in lengths().items() if length > LONG}

    assert {name: length for name, length in long.items() if not says_why(name)} == {}


def test_no_module_is_named_for_nothing():
    # pathlib's stem of a package's __init__ is of no interest; its folder is.
    names = {part for path in files(suffix=".py") for part in (path.stem, path.parent.name)}

    assert names & NAMELESS == set()


def test_the_top_level_holds_the_agreed_names_only():
    found = {path.name for path in CHECKOUT.iterdir() if not path.name.startswith(".")}

    assert found <= TOP_LEVEL


def test_no_file_names_a_folder_of_one_machine_or_a_package_index():
    found = [
        f"{path.relative_to(CHECKOUT)}:{number}: {line.strip()}"
        for path in files()
        if path.suffix in TEXT
        for number, line in enumerate(path.read_text().splitlines(), start=1)
        if ABSOLUTE.search(line) or INDEX.search(line)
    ]

    assert found == []
