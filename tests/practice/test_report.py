import re
from dataclasses import replace
from datetime import timedelta
from html.parser import HTMLParser

import numpy as np
import pytest

from shortpencil.forms.drawing import Words
from shortpencil.forms.layout import PAPERS
from shortpencil.forms.pdf import to_pdf
from shortpencil.scan.practice import words
from shortpencil.scan.practice.effect import effect_of, practice_results
from shortpencil.scan.practice.focus import focus_of
from shortpencil.scan.practice.history import history_of
from shortpencil.scan.practice.picture import dot, line, moved, paragraph, text, text_width_mm, to_svg
from shortpencil.scan.practice.plan import plan_of
from shortpencil.scan.practice.report import report_of
from shortpencil.scan.practice.sheet import sheet
from shortpencil.scan.practice.web import page
from shortpencil.scan.records.composing.rounds import PracticeSet, Value
from tests.practice.invented import Player, hole, known, one_round, rounds_of, throw
from tests.practice.test_plan import DRILLS

PNG = b"\x89PNG\r\n\x1a\n" + b"\x00" * 8


def a_report(count=14, seed=0, with_effect=True, **more):
    rounds = rounds_of(
        Player(name="Wren", miss=(0.3, 0.3, 0.35), cost=(0.4, 0.5, 0.7)), count, np.random.default_rng(seed)
    )
    e = history_of(rounds)
    f = focus_of(e)
    effect = None
    if with_effect:
        effect = effect_of(e, f.number, e.heads[count * 2 // 3].day)
    sets = [
        PracticeSet("c", 1, e.heads[-1].day + timedelta(days=1), "Wren", "ten-putts", Value(10), Value(6))
    ]
    return report_of(
        e,
        f,
        plan_of(f, 30, DRILLS, repeat=True),
        player="Wren",
        effect=effect,
        tested=practice_results(sets),
        **more,
    )


class Balanced(HTMLParser):
    """Fails on tags that do not nest."""

    VOID = frozenset({"meta", "img", "rect", "line", "link", "br"})

    def __init__(self):
        super().__init__()
        self.open, self.seen, self.text = [], [], []

    def handle_starttag(self, tag, attrs):
        self.seen.append((tag, dict(attrs)))
        if tag not in self.VOID:
            self.open.append(tag)

    def handle_startendtag(self, tag, attrs):
        self.seen.append((tag, dict(attrs)))

    def handle_endtag(self, tag):
        assert self.open.pop() == tag

    def handle_data(self, data):
        self.text.append(data)


def parsed(html):
    parser = Balanced()
    parser.feed(html)
    assert parser.open == []
    return parser


def test_page_is_whole_and_stands_alone():
    html = page(a_report())
    got = parsed(html)
    tags = [tag for tag, _ in got.seen]
    assert tags.count("h1") == 1
    assert "script" not in tags
    assert "link" not in tags
    assert not re.search(r"(src|href)=\"?(https?:|//)", html)
    assert "@font-face" in html
    assert got.seen[0] == ("html", {"lang": "en"})


def test_page_says_the_focus_first_then_evidence_then_plan():
    html = page(a_report())
    order = [html.index(mark) for mark in ("<h1>", "The evidence", "The plan: 30 minutes", "All numbers")]
    assert order == sorted(order)


def test_every_picture_has_a_title_and_a_description():
    html = page(a_report())
    svgs = re.findall(r"<svg.*?</svg>", html, re.S)
    assert len(svgs) == 5
    for svg in svgs:
        assert 'role="img"' in svg
        assert re.search(r"<title>.+</title>", svg)
        assert len(re.search(r"<desc>(.+)</desc>", svg).group(1)) > 20


def test_page_has_all_cautions_and_no_verdict():
    html = page(a_report())
    for caution in words.CAUTIONS:
        assert caution in html.replace("\N{NO-BREAK SPACE}", " ")
    said = " ".join(parsed(html).text).lower()
    for word in ("significant", "p-value", "p value", "proves that", "sigma", "hypothesis"):
        assert word not in said


def test_what_a_player_wrote_cannot_break_the_page():
    holes = [
        hole(
            n,
            [
                throw(1, "drive", "miss", cause=known("late"), words="<script>alert('x')</script> & more"),
                throw(2, "putt", "clean", True),
            ],
        )
        for n in range(1, 10)
    ]
    e = history_of([one_round("a", holes)])
    f = focus_of(e)
    r = report_of(e, f, plan_of(f, 20, DRILLS), player="<b>Wren</b>")
    html = page(r)
    assert "<script>" not in html
    assert "&lt;script&gt;" in html
    assert "<b>Wren" not in html
    parsed(html)


def test_strips_of_the_focus_are_shown_as_pictures():
    rounds = [
        one_round(
            "card1",
            [
                hole(
                    n,
                    [
                        throw(1, "drive", "miss", cause=known("late"), words_picture=f"h{n:02d}.words"),
                        throw(2, "putt", "clean", True),
                    ],
                )
                for n in range(1, 4)
            ],
        )
    ]
    e = history_of(rounds)
    f = focus_of(e)
    r = report_of(e, f, plan_of(f, 20, DRILLS), pictures={("card1", 2): PNG})
    html = page(r)
    assert html.count("data:image/png;base64,") == 1
    assert "hole 2" in html


@pytest.mark.parametrize("paper", ["a4", "letter"])
@pytest.mark.parametrize("count", [1, 2, 7, 30])
def test_sheet_is_one_page_with_nothing_outside_or_on_top_of_other_things(paper, count):
    size = PAPERS[paper]
    r = a_report(count, with_effect=count > 9)
    shapes = sheet(r, size)
    lines = [s for s in shapes if isinstance(s, Words)]
    for s in lines:
        width = min(text_width_mm(s.text, s.size_pt, s.bold), s.fit_mm or 1000)
        left = s.at.x - {"left": 0, "middle": width / 2, "right": width}[s.anchor]
        assert left >= 10, s.text
        assert left + width <= size.width_mm - 10, s.text
        assert 10 <= s.at.y <= size.height_mm - 10, s.text
        assert s.size_pt >= 8
    said = " ".join(s.text for s in lines)
    assert "Practise your" in said
    assert "The plan: 30 minutes" in said
    assert "Not under trees" in said
    plan_y = next(s.at.y for s in lines if s.text.startswith("The plan"))
    chart_y = max(s.at.y for s in lines if s.text in ("3 m", "6 m"))
    assert chart_y < plan_y - 6
    assert to_pdf([shapes], size, "x").count(b"/Type /Page\n") == 1


def test_a_very_long_name_stays_on_the_sheet():
    r = replace(a_report(9, with_effect=False), player="Long " * 40)
    (head,) = (s for s in sheet(r, PAPERS["a4"]) if isinstance(s, Words) and s.text.startswith("Long"))
    assert "… · 9 rounds" in head.text
    assert words.whose("a\u202eb\nc") == "a\\u202eb\\u000ac"  # nothing in it is obeyed
    assert text_width_mm(head.text, head.size_pt) < 150  # "shortpencil" stands at its left


def test_the_sheet_ends_the_sentence_of_what_comes_next():
    said = (
        "Practise putts next, too: one more session (1 so far) should save most there, about 1.0 strokes in "
        "ten rounds. 48 % that putts gain most from it; next come drives, about 0.9. "
        "Assumed: each later session of a phase brings less (67 % by your own marks so far), or "
        "as much as the one before (33 %); half is gone after 200 days without practice."
    )
    r = a_report(9, with_effect=False)
    r = replace(r, focus=replace(r.focus, remarks=(*r.focus.remarks, said)))
    lines = [s.text for s in sheet(r, PAPERS["a4"]) if isinstance(s, Words)]
    assert "without practice." in " ".join(lines)
    # A longer one, as German is: whole, in as many lines as it takes.
    r = replace(r, focus=replace(r.focus, remarks=(f"{said} {said}",)))
    lines = [s.text for s in sheet(r, PAPERS["a4"]) if isinstance(s, Words)]
    assert f"{said} {said}" in " ".join(lines)
    assert not any(text.endswith("…") for text in lines)


def test_sheet_uses_black_and_grey_only_and_the_same_report_gives_the_same_bytes():
    size = PAPERS["a4"]
    one, two = (to_pdf([sheet(a_report(), size)], size, "x") for _ in range(2))
    assert one == two
    assert b" rg" not in one


def test_svg_escapes_and_rounds():
    from shortpencil.scan.practice.picture import Picture

    p = Picture("a < b", "c & d", 10, 5, (text(1, 2, "5 < 6"), line(0, 0, 1.23456, 1), *dot(2, 2)))
    svg = to_svg(p)
    assert "a &lt; b" in svg
    assert "5 &lt; 6" in svg
    assert 'x2="1.235"' in svg
    parsed(svg)


def test_moved_shapes_keep_their_form():
    shapes = [text(1, 2, "x"), line(0, 0, 1, 1), *dot(2, 2, radius_mm=1.0, filled=False)]
    back = [moved(moved(s, 0.5, 0.25), -0.5, -0.25) for s in shapes]
    assert back == shapes


def test_paragraphs_break_at_the_width_and_keep_units():
    shapes, _ = paragraph(0, 0, "one two three four five 12 % six 7 m seven " * 4, 40)
    assert len(shapes) > 3
    for s in shapes:
        assert text_width_mm(s.text, s.size_pt) <= 40
        assert not s.text.startswith("%")


def test_a_season_of_other_shapes_of_report():
    # no putt distance, no date, no cause, left hand, feet: nothing may break
    holes = [
        hole(n, [throw(1, "drive", "miss" if n % 2 else "clean"), throw(2, "putt", "clean", True)], par=None)
        for n in range(1, 19)
    ]
    e = history_of([one_round(str(i), holes, hand=known("left"), unit="ft") for i in range(9)])
    f = focus_of(e)
    r = report_of(e, f, plan_of(f, 20, DRILLS), unit="ft")
    parsed(page(r))
    said = " ".join(s.text for s in sheet(r, PAPERS["letter"]) if isinstance(s, Words))
    assert "No cause is noted" in said
    assert "Ended well" in said
