"""The verdict in a real Chromium on a small phone's screen."""

import html
import re
import subprocess
from pathlib import Path

import pytest

from drumkeep.web.templating import render
from drumkeep.web.view_models import Phrase, VerdictView
from tests.unit.web.samples import HOUR, NOW, drum, formats

MEASURE = """<iframe id=phone src=verdict.html width=390 height=700></iframe><script>
phone.onload = () => {
  const page = phone.contentDocument.documentElement;
  const sizes = [...page.querySelectorAll("p, a, b, span, h1")]
    .map((e) => parseFloat(phone.contentWindow.getComputedStyle(e).fontSize));
  document.title = [page.scrollHeight, page.scrollWidth, Math.min(...sizes),
    parseFloat(phone.contentWindow.getComputedStyle(page.querySelector("h1")).fontSize)].join(" ");
};</script>"""


@pytest.mark.parametrize("phrase", ["READY", "NOT YET", "DO NOT OPEN", "LOOK FIRST", "ASK"])
def test_verdict_fits_390_by_700_without_scrolling(phrase: Phrase, chromium: str, tmp_path: Path):
    verdict = VerdictView(
        drum=drum(readiness="ready"),
        phrase=phrase,
        reason="It was under 50 °F for 5 h 10 min in Box van 2: solids may lie at the bottom.",
        do="Open with care, probe the bottom, and record what you find before you pump.",
        time=NOW + 31 * HOUR,
        nearest_ready=("R8H-3NB", "North shed"),
    )
    text = render("verdict.html", verdict=verdict, formats=formats(), nonce="n")
    (tmp_path / "verdict.html").write_text(text, "utf-8")
    (tmp_path / "measure.html").write_text(MEASURE, "utf-8")
    done = subprocess.run(
        [
            chromium,
            *("--headless", "--no-sandbox", "--disable-gpu", "--no-first-run", "--disable-quic"),
            *("--disable-background-networking", "--disable-component-update", "--disable-sync"),
            *("--allow-file-access-from-files", f"--user-data-dir={tmp_path / 'profile'}"),
            *("--window-size=900,900", "--dump-dom", (tmp_path / "measure.html").as_uri()),
        ],
        capture_output=True,
        text=True,
        timeout=50,
        check=True,
    )
    title = re.search(r"<title>([\d. ]+)</title>", done.stdout)
    assert title, html.unescape(done.stdout[:500])
    tall, wide, smallest, answer = (float(part) for part in title[1].split())
    assert tall <= 700
    assert wide <= 390
    assert smallest >= 18
    assert answer == 72
