"""The advice in German: whole, in its own numbers, and as narrow as the English."""

import re
from html import unescape
from importlib import import_module

import pytest

from shortpencil.forms.drawing import Words, box_of
from shortpencil.forms.layout import PAPERS
from shortpencil.scan.language import speaking
from shortpencil.scan.practice.causes import CAUSE_WORDS
from shortpencil.scan.practice.screen import HEIGHT, WIDTH, screen
from shortpencil.scan.practice.sheet import sheet
from shortpencil.scan.practice.web import page
from tests.language import catalogue
from tests.practice.test_report import a_report

LENGTHS = re.compile(r"\{[0-9][0-9., a-z]*m\}")


def test_drills_have_the_same_distances_in_every_language():
    """They are put into the unit of the card, in German too, so that a decimal has a point there."""
    said = catalogue.sentences_of_drills(catalogue.DRILLS.read_text("utf-8"))
    assert any(LENGTHS.search(str(sentence)) for sentence, _context in said)
    for other in catalogue.OTHERS:
        translated = {message.id: message.string for message in catalogue.read(other, "practice")}
        for sentence, _context in said:
            one, two = (
                [re.findall(r"[0-9.]+", found) for found in LENGTHS.findall(text)]
                for text in (str(sentence), str(translated[sentence]))
            )
            assert one == two, sentence


@pytest.mark.parametrize(("count", "seed"), [(3, 2), (14, 0), (30, 1)])
def test_screen_keeps_its_width_and_height(count, seed):
    with speaking("de"):
        report = a_report(count, seed, with_effect=False)
        lines = screen(report.history, report.focus, report.plan, report.choice)
    assert len(lines) <= HEIGHT
    assert all(len(line) <= WIDTH for line in lines), max(lines, key=len)
    assert lines[0].startswith("ÜBE DEINE ")
    assert re.search(r"\d,\d bis \d,\d", "\n".join(lines))


@pytest.mark.parametrize("paper", PAPERS)
@pytest.mark.parametrize("count", [3, 14, 40])
def test_sheet_is_one_page_with_nothing_on_top_of_other_things(paper, count):
    with speaking("de"):
        shapes = sheet(a_report(count, with_effect=count == 14), PAPERS[paper])
    words = [shape for shape in shapes if isinstance(shape, Words)]
    size = PAPERS[paper]
    boxes = [box_of(word) for word in words]
    assert all(b.x >= 10 and b.right <= size.width_mm - 10 for b in boxes)
    assert all(b.y >= 8 and b.bottom <= size.height_mm - 8 for b in boxes)


class Marked:
    """A language whose every sentence stands in brackets: what stands outside was not looked up."""

    def gettext(self, message):
        return f"\u27e6{message}\u27e7"

    def ngettext(self, one, many, n):
        return self.gettext(one if n == 1 else many)

    def pgettext(self, _context, message):
        return message if len(message) < 3 else self.gettext(message)


#: What stands outside of sentences: names, units, the program's own, ids of drills.
DATA = {
    "shortpencil",
    "Wren",
    "min",
    "m",
    "ten",
    "putts",
    "putt",
    "drive",
    "approach",
    "svg",
    "released",
    "early",
}


def test_page_says_nothing_that_is_not_looked_up(monkeypatch):
    spoken = import_module("shortpencil.scan.language.spoken")
    monkeypatch.setattr(spoken, "book", lambda _language: Marked())
    with speaking("de"):
        html = page(a_report())
    assert '<html lang="de">' in html
    text = unescape(re.sub(r"<style>.*?</style>|<[^>]*>", " ", html, flags=re.DOTALL))
    assert "\u27e6" in text
    while (shorter := re.sub(r"\u27e6[^\u27e6\u27e7]*\u27e7", " ", text)) != text:
        text = shorter
    for cause in CAUSE_WORDS.values():  # a chart has room for their first words
        text = text.replace(f"\u27e6{cause.split(',')[0].split(' (')[0]}", " ")
    assert set(re.findall(r"[A-Za-z]{2,}", text)) <= DATA
