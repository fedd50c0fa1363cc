"""Every text of a page is in the catalogue: nothing of a template is left in English."""

import re
from collections.abc import Mapping
from html.parser import HTMLParser

import pytest
from babel.core import Locale
from babel.messages.catalog import Catalog

from drumkeep.language import tongue as languages
from drumkeep.language.extraction import messages
from drumkeep.language.tongue import tongue
from drumkeep.web.templating import TEMPLATES, environment
from tests.unit.web.samples import hostile, pages

TYPED = "9·9"
"""Stands for whatever a page is given: only the template's own words have letters."""

READ_OUT = frozenset({"alt", "aria-label", "placeholder", "title", "data-old", "content"})
SILENT = frozenset({"script", "style", "math", "code"})
SAME_IN_EVERY_LANGUAGE = re.compile(
    r"drumkeep|Español|English|\b(?:UUID|CSV|JSON|PDF|ISO|QR|GS1|GTIN|SSCC|IBC|UN|kPa|psi|kg|lb|min|"
    r"mph|MQTT|TLS|OPC|XLSX|JMESPath|SenML|Sparkplug|Modbus|Tmax|A iso|B|K7Q|DataMatrix|am|pm|id"
    r"|URL|cP|H[CFO]+-\w+)\b|^in$|\([EZ]\)|\w*[/:*]\S+"
)
_SPANISH = Locale("es")
DAYS = re.compile(
    "|".join(
        (
            *_SPANISH.days["format"]["abbreviated"].values(),
            *_SPANISH.months["format"]["abbreviated"].values(),
            "C[SD]T",
            "UTC",
        )
    )
)
"""What stands in times, in the language whose code the strange one has."""


WITHOUT_SAMPLES = frozenset(
    {"base.html", "product.html", "products.html", "readings_import.html"}
)  # every page of a service is looked at in tests/http/test_page_language.py


class Texts(HTMLParser):
    """Collects what people see or hear of a page."""

    def __init__(self) -> None:
        super().__init__()
        self.read_out: list[str] = []
        self.shown: list[str] = []
        self._silent: list[str] = []

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        if tag in SILENT or dict(attrs).get("translate") == "no" or tag in self._silent[:1]:
            self._silent.append(tag)
        for name, value in attrs:
            if name in READ_OUT and value and tag not in ("meta", "link"):
                self.read_out.append(value)

    def handle_endtag(self, tag: str) -> None:
        if self._silent and self._silent[0] == tag:
            self._silent.pop()

    def handle_data(self, data: str) -> None:
        if not self._silent:
            self.shown.append(data)


def untranslated(html: str) -> list[str]:
    """Return the texts of a page in the strange language that have letters outside of «»."""
    reader = Texts()
    reader.feed(html)
    shown = _without_messages("\0".join(reader.shown)).split("\0")
    left = []
    for outside in (*map(_without_messages, reader.read_out), *shown):
        bare = SAME_IN_EVERY_LANGUAGE.sub("", DAYS.sub("", outside)).replace(TYPED, "")
        if re.search(r"[A-Za-z]{2,}", bare):
            left.append(" ".join(outside.split()))
    return left


def _without_messages(text: str) -> str:
    """Return what is left outside of «», which may stand in each other and have tags in them."""
    while (without := re.sub(r"«[^«»]*»", "", text)) != text:
        text = without
    return text


@pytest.fixture(scope="module")
def strange_pages() -> Mapping[str, str]:
    """Every page in a language whose every message is the English one between « and »."""
    strange = Catalog("es", fuzzy=False)
    for _, message in messages():
        either = message if isinstance(message, tuple) else (message,)
        marked = tuple(f"«{text}»" for text in either)
        strange.add(message, marked if isinstance(message, tuple) else marked[0])
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(languages, "catalogue", lambda _: strange)
        tongue.cache_clear()
        environment.cache_clear()
        made = pages(lambda view: hostile(view, TYPED), language="es")
    tongue.cache_clear()
    environment.cache_clear()
    return made


@pytest.mark.parametrize("name", sorted(path.name for path in TEMPLATES.glob("*.html")))
def test_a_page_says_nothing_that_is_not_in_the_catalogue(strange_pages, name):
    if name in strange_pages:
        assert untranslated(strange_pages[name]) == []
    else:
        assert name in WITHOUT_SAMPLES
