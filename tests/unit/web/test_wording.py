"""The words of the interface."""

from drumkeep.web import wording
from tests.unit.web.samples import formats

US = formats()


def said(text: str) -> str:
    return text.replace("\N{NO-BREAK SPACE}", " ")


def test_output_class_is_told_in_the_viewers_unit():
    # 20 lb is 9.07 kg (NIST SP 811).
    assert said(wording.output_words("from_20", US)) == "20 lb a minute and over"
    assert said(wording.output_words("under_20", formats("si"))) == "under 9 kg a minute"
