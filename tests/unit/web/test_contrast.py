"""Contrast of text, computed from the style sheet's own colours in both schemes.

The formula is that of WCAG 2.2, "relative luminance" and "contrast ratio"; 4.5:1 is success
criterion 1.4.3 (text), 3:1 is 1.4.11 (shapes that carry meaning).
"""

import re

import pytest

from drumkeep.web.templating import STATIC

TOKENS = (STATIC / "css" / "tokens.css").read_text("utf-8")
COLOURS = re.compile(r"--([a-z-]+): (#[0-9a-f]{6});")


def scheme(dark: bool) -> dict[str, str]:  # noqa: FBT001 - the test's parameter
    light, _, rest = TOKENS.partition("@media (prefers-color-scheme: dark)")
    colours = dict(COLOURS.findall(light))
    return colours | dict(COLOURS.findall(rest)) if dark else colours


def luminance(colour: str) -> float:
    parts = [int(colour[i : i + 2], 16) / 255 for i in (1, 3, 5)]
    linear = [p / 12.92 if p <= 0.04045 else ((p + 0.055) / 1.055) ** 2.4 for p in parts]
    return 0.2126 * linear[0] + 0.7152 * linear[1] + 0.0722 * linear[2]


def contrast(one: str, other: str) -> float:
    light, dark = sorted((luminance(one), luminance(other)), reverse=True)
    return (light + 0.05) / (dark + 0.05)


def test_formula_gives_the_standards_ends():
    # WCAG 2.2: black on white is 21:1, a colour on itself 1:1.
    assert contrast("#000000", "#ffffff") == pytest.approx(21.0)
    assert contrast("#123456", "#123456") == pytest.approx(1.0)


@pytest.mark.parametrize("dark", [False, True])
@pytest.mark.parametrize("ink", ["ink", "quiet"])
@pytest.mark.parametrize("paper", ["ground", "sheet"])
def test_text_on_paper(dark, ink: str, paper: str):
    colours = scheme(dark)
    assert contrast(colours[ink], colours[paper]) >= 4.5


@pytest.mark.parametrize("dark", [False, True])
@pytest.mark.parametrize(
    ("ink", "paper"),
    [
        ("ink", "cold"),
        ("ink", "warm"),
        ("cold-ink", "cold"),
        ("warm-ink", "warm"),
        ("iso", "ground"),
    ],
)
def test_text_and_hatch_on_tints_and_the_iso_ring(dark, ink: str, paper: str):
    colours = scheme(dark)
    assert contrast(colours[ink], colours[paper]) >= 4.5


@pytest.mark.parametrize("dark", [False, True])
def test_tints_are_never_blue(dark):
    # Blue means the resin side on many hoses (common practice, no source).
    for name in ("cold", "cold-ink", "warm", "warm-ink"):
        colour = scheme(dark)[name]
        red, green, blue = (int(colour[i : i + 2], 16) for i in (1, 3, 5))
        assert blue < max(red, green)


def test_iso_red_is_used_for_the_ring_and_nothing_else():
    for sheet in (STATIC / "css").glob("*.css"):
        for rule in re.findall(r"([^{}]+)\{([^{}]*)\}", sheet.read_text("utf-8")):
            if "var(--iso)" in rule[1]:
                assert "fig-ring-iso" in rule[0]
