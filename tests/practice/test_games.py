"""Advice over the phases that a card declares: any number of them, never two games in one table."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from datetime import date, timedelta
from importlib.resources import files

import numpy as np
import pytest

from shortpencil.forms.drawing import Words
from shortpencil.forms.form import USUAL_PHASES, Phase
from shortpencil.scan.practice.causes import words_of
from shortpencil.scan.practice.choice import choice_of
from shortpencil.scan.practice.cost import costs_of
from shortpencil.scan.practice.doubt import possible_histories
from shortpencil.scan.practice.focus import focus_of
from shortpencil.scan.practice.focus_charts import strokes_chart
from shortpencil.scan.practice.games import of_one_game
from shortpencil.scan.practice.history import History, bare_throws, history_of
from shortpencil.scan.practice.plan import drills_from_toml, plan_of
from shortpencil.scan.practice.putting import putting_of
from shortpencil.scan.practice.rate_charts import results_chart
from shortpencil.scan.practice.report import report_of
from shortpencil.scan.practice.results import two_by_two
from shortpencil.scan.practice.screen import screen
from shortpencil.scan.practice.sheet import sheet
from shortpencil.scan.practice.web import page
from shortpencil.scan.records.composing.rounds import Hole, Round
from tests.practice.invented import Player, hole, known, one_round, rounds_of, throw

DRILLS = drills_from_toml(
    files("shortpencil.scan.practice").joinpath("drills.toml").read_text(encoding="utf-8"), "drills.toml"
)
#: The usual game under other names.
RENAMED = (
    Phase("long", "long", "tee", ("long",)),
    Phase("middle", "middle", "between", ("middle1", "middle2")),
    Phase("near", "near", "target", ("near1", "near2", "near3")),
)
FOUR = (
    Phase("drive", "drive", "tee", ("drive",)),
    Phase("fairway", "fairway", "between", ("fairway1", "fairway2")),
    Phase("upshot", "upshot", "between", ("upshot1",)),
    Phase("putt", "putt", "target", ("putt1", "putt2", "putt3")),
)
NO_PUTTS = (FOUR[0], Phase("rest", "rest", "between", ("rest1", "rest2", "rest3", "rest4")))


def renamed(played: Round) -> Round:
    """The same round on a card that calls its phases otherwise."""
    name = {usual.id: other.id for usual, other in zip(USUAL_PHASES, RENAMED, strict=True)}
    holes = tuple(
        replace(h, throws=tuple(replace(t, phase=name[t.phase]) for t in h.throws)) for h in played.holes
    )
    worst = known(name[str(played.worst.value)])
    tallies = {name[phase]: tally for phase, tally in played.tallies.items()}
    return replace(played, phases=RENAMED, holes=holes, worst=worst, tallies=tallies)


def four_phase_rounds(
    count: int,
    generator: np.random.Generator,
    miss: Sequence[float] = (0.2, 0.2, 0.5, 0.2),
    cost: float = 0.7,
) -> list[Round]:
    """Rounds in which each missed throw costs one more throw of its phase with a chance of `cost`."""
    rounds = []
    for i in range(count):
        holes: list[Hole] = []
        for number in range(1, 19):
            marks: list[tuple[str, str] | None] = []  # None: only the score tells of it
            for k, phase in enumerate(FOUR):
                if phase.id == "fairway" and number % 3:  # a short hole: drive, upshot, putt
                    continue
                again, nth = True, 0
                while again and len(marks) < 12:
                    missed = generator.random() < miss[k]
                    again = missed and generator.random() < cost and phase.role != "tee"
                    nth += 1
                    shown = (phase.id, "miss" if missed else "clean")
                    marks.append(shown if nth <= len(phase.columns) else None)
            known_ones = [mark for mark in marks if mark is not None]
            whole = len(known_ones) == len(marks)
            throws = [
                throw(n, *mark, holed=whole and n == len(known_ones)) for n, mark in enumerate(known_ones, 1)
            ]
            if not whole:
                throws[-1] = replace(throws[-1], holed=None)
            holes.append(replace(hole(number, throws, par=3), score=known(len(marks))))
        day = date(2030, 4, 1) + timedelta(days=5 * i)
        rounds.append(one_round(f"f{i:03d}", holes, day, phases=FOUR, worst=known("upshot")))
    return rounds


@pytest.fixture(scope="module")
def usual() -> list[Round]:
    return rounds_of(Player(), 12, np.random.default_rng(7))


@pytest.fixture(scope="module")
def four() -> list[Round]:
    return four_phase_rounds(12, np.random.default_rng(3))


@pytest.fixture(scope="module")
def of_four(four: list[Round]) -> History:
    return history_of(four)


def test_a_game_under_other_names_gets_the_same_numbers(usual: list[Round]) -> None:
    one, two = focus_of(history_of(usual)), focus_of(history_of(map(renamed, usual)))
    assert one is not None
    assert two is not None
    other = {old.id: new.id for old, new in zip(USUAL_PHASES, RENAMED, strict=True)}
    assert two.phase == other[one.phase]
    assert two.p == one.p
    for a, b in zip(one.phases, two.phases, strict=True):
        assert replace(b, phase=a.phase) == a
    assert [c.count for c in one.causes.causes] == [c.count for c in two.causes.causes]
    assert putting_of(history_of(usual)).putts == putting_of(history_of(map(renamed, usual))).putts


def test_the_worst_of_four_phases_is_found_and_costs_what_it_costs(of_four: History) -> None:
    focus = focus_of(of_four)
    assert focus is not None
    assert focus.phase == "upshot"
    assert [p.phase for p in focus.phases] == ["drive", "fairway", "upshot", "putt"]
    assert sum(p.p_costs_most for p in focus.phases) == pytest.approx(1, abs=0.01)
    # A miss brings one more throw with a chance of .7, of which half are missed again: .7 / (1 - .35).
    upshot = focus.phases[2]
    assert upshot.cost.low < 0.7 / (1 - 0.7 * 0.5) < upshot.cost.high
    # of 216 drives a fifth is missed, and costs nothing here
    assert focus.phases[0].cost.low < 0.1


def test_ranges_of_rates_hold_over_four_phases() -> None:
    truth = (0.2, 0.3, 0.5, 0.25)
    held = []
    for seed in range(12):
        rounds = four_phase_rounds(10, np.random.default_rng(100 + seed), truth)
        focus = focus_of(history_of(rounds))
        assert focus is not None
        for p, rate in zip(focus.phases, truth, strict=True):
            held.append(p.all.interval.low <= rate <= p.all.interval.high)
    assert np.mean(held) >= 0.8  # 48 ranges of 90 %: fewer than 39 held are 1 in 50


def test_throws_that_only_scores_tell_of_are_counted_once(of_four: History) -> None:
    scores = int(np.nansum(of_four.hole_score))
    told = int(of_four.marked.sum() + bare_throws(of_four).sum())
    assert told <= scores
    assert np.isfinite(costs_of(of_four).mean).all()


def test_a_game_without_putts_has_a_focus_and_no_curve() -> None:
    holes = [
        hole(n, [throw(1, "drive", "clean"), throw(2, "rest", "miss" if n % 2 else "clean", holed=True)])
        for n in range(1, 19)
    ]
    rounds = [one_round(f"n{i}", holes, date(2030, 4, 1 + i), phases=NO_PUTTS) for i in range(6)]
    history = history_of(rounds)
    focus = focus_of(history)
    assert focus is not None
    assert focus.phase == "rest"
    assert putting_of(history).putts == 0
    assert putting_of(history).curve is None


def test_everything_that_is_shown_speaks_of_the_four_phases(four: list[Round], of_four: History) -> None:
    focus = focus_of(of_four)
    assert focus is not None
    choice = choice_of(of_four, focus, ())
    plan = plan_of(focus, 30, DRILLS)
    report = report_of(
        of_four, focus, plan, player="Wren", unit="m", putting=putting_of(of_four), choice=choice
    )
    shown = "\n".join(screen(of_four, focus, plan, choice))
    for text, many in ((shown, "{}"), (page(report), "{} throws")):
        assert all(
            name in text for name in ("drives", many.format("fairway"), many.format("upshot"), "putts")
        )
        assert "approach" not in text
    assert sheet(report, _a4())
    assert "shortpencil practised upshot" not in shown, "told sessions are of the usual phases"


def _a4():
    from shortpencil.forms.layout import PAPERS

    return PAPERS["a4"]


def test_a_phase_without_drills_gets_general_words_and_says_so(of_four: History) -> None:
    focus = focus_of(of_four)
    assert focus is not None
    plan = plan_of(focus, 30, DRILLS)
    assert plan.step("test").drill.title == "Ten, counted: upshot throw"
    assert "the way your card's causes say" in plan.step("block").says
    assert any("nothing for upshot throws: these are general words" in note for note in plan.notes)
    own = """
[[drill]]
id = "low-upshot"
causes = ["other"]
phases = ["upshot"]
box = "block"
title = "Low line"
how = "Under a branch, to a towel at {20 m}."
counts = "under the branch"

[[test]]
id = "ten-upshots"
phases = ["upshot"]
title = "Ten upshots"
how = "Ten to a towel."
counts = "within a step"
"""
    listed = drills_from_toml(
        files("shortpencil.scan.practice").joinpath("drills.toml").read_text(encoding="utf-8") + own,
        "own.toml",
    )
    assert plan_of(focus, 30, listed).step("test").drill.id == "ten-upshots"


def test_rounds_of_two_games_are_never_put_together(usual: list[Round], four: list[Round]) -> None:
    mixed = [*usual[:3], *four]
    found = of_one_game(mixed)
    assert {played.phase_ids for played in found.rounds} == {("drive", "fairway", "upshot", "putt")}
    assert found.left_out is not None
    assert found.left_out.startswith("3 rounds of another game (drive, approach and putt) are left out")
    assert "focus --phases drive,approach,putt" in found.left_out
    asked = of_one_game(mixed, ["drive", "approach", "putt"])
    assert {played.id for played in asked.rounds} == {played.id for played in usual[:3]}
    none = of_one_game(mixed, ["drive"])
    assert not none.rounds
    assert none.left_out is not None
    assert none.left_out.endswith("drive, approach and putt; drive, fairway, upshot and putt.")
    assert of_one_game(four).left_out is None
    assert of_one_game(()).rounds == ()


def test_a_card_with_more_columns_of_the_same_phases_is_of_the_same_game(usual: list[Round]) -> None:
    more = tuple(replace(p, columns=(*p.columns, f"{p.id}9")) for p in USUAL_PHASES)
    one = [*usual[:-1], replace(usual[-1], phases=more)]
    assert len(of_one_game(one).rounds) == len(usual)
    assert history_of(one).columns[:, 2].tolist() == [3] * 11 + [4]


def test_doubtful_marks_of_other_phases_are_drawn(four: list[Round]) -> None:
    first = four[0].holes[0].throws[0]
    seen = replace(first.execution, value="clean", p=0.6, status="doubtful", alternatives=(("miss", 0.4),))
    doubtful = replace(first, execution=seen)
    holes = (replace(four[0].holes[0], throws=(doubtful, *four[0].holes[0].throws[1:])), *four[0].holes[1:])
    drawn = possible_histories([replace(four[0], holes=holes), *four[1:]])
    assert {one.phase_ids for one in drawn} == {("drive", "fairway", "upshot", "putt")}
    assert len({int(one.misses[0, 0]) for one in drawn}) == 2


@pytest.mark.parametrize("count", [2, 3, 4])
def test_the_scale_of_a_chart_stands_below_its_last_phase(of_four: History, count: int) -> None:
    focus = focus_of(of_four)
    assert focus is not None
    some = replace(focus, phases=focus.phases[-count:], number=0)
    for picture, said in (
        (strokes_chart(some), "strokes a round"),
        (results_chart(two_by_two(of_four)[-count:]), "50 %"),
    ):
        texts = [(shape.at.y, shape.text) for shape in picture.shapes if isinstance(shape, Words)]
        (scale,) = (y for y, text in texts if text == said)
        assert max(y for y, text in texts if text == "putts") < scale - 3
        assert picture.height_mm > scale


def test_causes_are_words_of_the_card_whatever_the_phase() -> None:
    assert words_of("late", {"late": "spät losgelassen"}) == "spät losgelassen"


def test_columns_of_a_season_fit_a_line_whatever_their_phases_are_called() -> None:
    from shortpencil.scan.practice.season_page import _cut, _row, _widths

    rows = [["100 % (12)", "–", "7 %", "33 % (1)", "20 %"]]
    for heads in (["drives", "approaches", "putts"], ["Annäherungen"] * 4, ["Annäherungen"] * 5):
        cells = [row[: len(heads)] for row in rows]
        widths, last = _widths(heads, cells, ["kostete am meisten", "Annäherungen"])
        for row in (heads, *cells):
            assert len(_row(row, widths) + _cut("kostete am meisten", last)) <= 80 - 18
            assert all(len(cell) < width for cell, width in zip(cells[0], widths, strict=True))
    assert _widths(["drives", "approaches", "putts"], [["–"] * 3], ["cost most"])[0] == [14] * 3
