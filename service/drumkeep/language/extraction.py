"""Collects what the interface says in English: from templates, scripts and Python modules.

In templates it stands in ``{% trans %}`` blocks and ``_()``, in scripts in ``say("...")``. In
Python any literal that reads like words for people is a message; of a composed one the values
become ``{name}`` by the expressions that they come from.
"""

import ast
import builtins
import re
from collections.abc import Iterable, Iterator
from pathlib import Path
from typing import Final

from babel.messages.extract import extract

PACKAGE: Final = Path(__file__).parent.parent
SPEAKING: Final = ("domain", "operations", "notify", "asgi", "web")
"""Packages whose Python modules say something to people."""

TABLES: Final = re.compile(
    r"^(web/(\w*words|wording|moments|cautions|figure|mappings|readings_import|views/\w+)"
    r"|domain/(\w*words|pressure_report|alarm_rules/rig_checks))\.py$"
)
"""Modules whose single words are said to people too."""

Message = tuple[str, str | tuple[str, ...]]
"""Where a message stands, and the message; singular and plural of one that counts."""

_TEMPLATE_OPTIONS: Final = {
    "trimmed": "true",
    "newstyle_gettext": "true",
    "trim_blocks": "true",
    "lstrip_blocks": "true",
    "encoding": "utf-8",
}
_IN_SCRIPT: Final = re.compile(r"""\bsay\(\s*(?:"((?:[^"\\]|\\.)*)"|'((?:[^'\\]|\\.)*)')""")
_READS_LIKE_WORDS: Final = re.compile(r"(?<![\w/{<])[A-Za-z]?[a-z]{2,}(?![\w/>=])")
_NOT_FOR_PEOPLE: Final = re.compile(
    r"^[<%/#.(\[?]|^\{(?!\w+\})|^[a-z_]+[=(]|[{}]{2}|\\|^SELECT |__|;\w"
)
_LOGS: Final = ("_log", "_LOG")
_ASIDE: Final = frozenset(
    {"alias", "description", "examples", "pattern", "regex", "summary", "default_factory"}
)


def messages() -> Iterator[Message]:
    """Give every message of the interface in the order of the sources, some more than once."""
    for path in sorted((PACKAGE / "web/templates").rglob("*.html")):
        with path.open("rb") as file:
            for _, message, _, _ in extract(
                "jinja2.ext:babel_extract", file, options=dict(_TEMPLATE_OPTIONS)
            ):
                yield _place(path), message
    for path in sorted((PACKAGE / "web/static/js").glob("*.js")):
        for found in _IN_SCRIPT.finditer(path.read_text("utf-8")):
            yield _place(path), found[1] or found[2]
    for package in SPEAKING:
        for path in sorted((PACKAGE / package).rglob("*.py")):
            place = _place(path)
            singles = TABLES.match(place) is not None
            tree = ast.parse(path.read_text("utf-8"))
            for message in _spoken(tree, singles=singles):
                yield place, message


def _place(path: Path) -> str:
    return path.relative_to(PACKAGE).as_posix()


def message_of(node: ast.JoinedStr) -> str:
    """Return the message of a composed sentence: ``f"{drum.tag} is full"`` is ``{tag} is full``."""
    parts: list[str] = []
    names: list[str] = []
    for value in node.values:
        if isinstance(value, ast.Constant):
            parts.append(str(value.value).replace("{", "{{").replace("}", "}}"))
        elif isinstance(value, ast.FormattedValue):
            name = _name(value.value)
            number = sum(known.rstrip("0123456789") == name for known in names) + 1
            names.append(name if number == 1 else f"{name}{number}")
            parts.append(f"{{{names[-1]}}}")
    return "".join(parts)


def _name(node: ast.expr) -> str:  # noqa: C901, PLR0911 - one arm a kind of expression
    match node:
        case ast.Name():
            return node.id.strip("_").lower()
        case ast.Attribute():
            return node.attr.strip("_").lower()
        case ast.Subscript(slice=ast.Constant(value=str(key))) if key.isidentifier():
            return key
        case ast.Subscript() | ast.Await() | ast.Starred():
            return _name(node.value)
        case ast.Call(func=ast.Attribute(value=ast.Constant())) if node.args:  # ", ".join(names)
            return _name(node.args[0])
        case ast.Call():
            return _name(node.func)
        case ast.IfExp():
            return _name(node.body)
        case ast.BoolOp():
            return _name(node.values[0])
        case ast.BinOp():
            return _name(node.left)
        case ast.GeneratorExp():
            return _name(node.elt)
    return "value"


def _spoken(tree: ast.AST, *, singles: bool) -> Iterator[str]:
    """Give the messages of a piece of Python."""
    for node in _heard(tree):
        if isinstance(node, ast.JoinedStr):
            fixed = "".join(str(v.value) for v in node.values if isinstance(v, ast.Constant))
            if _is_for_people(fixed):
                yield message_of(node)
        elif isinstance(node, ast.Constant) and isinstance(node.value, str):
            text = node.value
            if _is_for_people(text) and (singles or " " in text.strip()):
                yield text


def _is_for_people(text: str) -> bool:
    return bool(_READS_LIKE_WORDS.search(text)) and not _NOT_FOR_PEOPLE.search(text)


def _heard(node: ast.AST) -> Iterator[ast.AST]:
    """Give the strings of a tree that may reach people: no docstrings, logs, keys or defects."""
    if isinstance(node, ast.JoinedStr):
        yield node
        for value in node.values:
            if isinstance(value, ast.FormattedValue):
                yield from _heard(value.value)
        return
    if isinstance(node, ast.Constant):
        yield node
        return
    for child in _children(node):
        yield from _heard(child)


def _reads_like_words(key: ast.expr) -> bool:
    """Whether a key is shown to people: it has a space in it, as no name of a thing has."""
    return isinstance(key, ast.JoinedStr) or (
        isinstance(key, ast.Constant) and isinstance(key.value, str) and " " in key.value
    )


def _children(node: ast.AST) -> Iterable[ast.AST]:  # noqa: C901, PLR0911, PLR0912 - one arm a kind
    match node:
        case ast.Expr(value=ast.Constant()) | ast.Assert() | ast.Import() | ast.ImportFrom():
            return ()
        case ast.Compare():
            return [node.left] if not isinstance(node.left, ast.Constant) else ()
        case ast.Dict():
            shown = (key for key in node.keys if key is not None and _reads_like_words(key))
            return [*shown, *node.values]
        case ast.Subscript():
            return [node.value]
        case ast.Raise(exc=ast.Call(func=ast.Name(id=name))) if hasattr(builtins, name):
            return ()
        case ast.Call(func=ast.Attribute(value=ast.Name(id=owner))) if owner in (*_LOGS, "re"):
            return ()
        case ast.Call(func=ast.Name(id="text" | "Path" | "literal_column")):
            return ()
        case ast.Call(func=ast.Attribute(value=owner, attr="get"), args=[_, *rest]):
            return [owner, *rest]  # the key of a mapping
        case ast.Call():
            kept = [word.value for word in node.keywords if word.arg not in _ASIDE]
            return [node.func, *node.args, *kept]
        case ast.AnnAssign():
            return [node.value] if node.value else ()
        case ast.FunctionDef() | ast.AsyncFunctionDef():
            return node.body
        case ast.ClassDef():
            return node.body
        case ast.match_case():
            return node.body
    return ast.iter_child_nodes(node)
