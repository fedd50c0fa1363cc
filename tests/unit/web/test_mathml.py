"""Equations from one line of text (MathML Core, W3C)."""

from xml.etree import ElementTree as ET

import pytest

from drumkeep.web.mathml import formula


def shape(text: str) -> str:
    """Return the elements of an equation, nested as they are."""

    def told(element: ET.Element) -> str:
        inside = " ".join(told(child) for child in element)
        return f"{element.tag}({inside or element.text or ''})"

    return " ".join(told(child) for child in ET.fromstring(formula(text)))  # noqa: S314 - made here


@pytest.mark.parametrize(
    ("text", "made"),
    [
        ("x", "mi(x)"),
        ("2.5 k", "mn(2.5) mi(k)"),
        ("a - b", "mi(a) mo(−) mi(b)"),
        ("T_j", "msub(mi(T) mi(j))"),
        ("δ_j^3", "msubsup(mi(δ) mi(j) mn(3))"),
        ("δ^3_j", "msubsup(mi(δ) mi(j) mn(3))"),
        ("T_{j+1}", "msub(mi(T) mrow(mi(j) mo(+) mn(1)))"),
        ('T_"side"', "msub(mi(T) mtext(side))"),
        ("frac{1}{h R}", "mfrac(mrow(mn(1)) mrow(mi(h) mi(R)))"),
        ("root{4}{x}", "mroot(mrow(mi(x)) mrow(mn(4)))"),
        ("sqrt{x}", "msqrt(mrow(mi(x)))"),
        ("mean{T}", "mover(mrow(mi(T)) mo(¯))"),
        ("ln x", "mrow(mspace() mi(ln)) mi(x)"),
    ],
)
def test_text_becomes_the_elements_of_mathml_core(text, made):
    assert shape(text) == made


def test_equation_stands_on_its_own_line_or_within_one():
    assert 'display="block"' in formula("x")
    assert formula("x", inline=True) == "<math><mi>x</mi></math>"


def test_what_is_markup_stays_text():
    assert "<b>" not in formula('"<b>" < a')
    assert "&lt;b&gt;" in formula('"<b>"')


@pytest.mark.parametrize("broken", ["frac{1}", "T_", "{a", "frac{a}{b"])
def test_broken_equation_is_refused(broken):
    with pytest.raises(ValueError, match="ends"):
        formula(broken)
