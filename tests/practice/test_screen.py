import re
from dataclasses import replace

import numpy as np
import pytest

from shortpencil.scan.language import speaking
from shortpencil.scan.practice import words
from shortpencil.scan.practice.choice import choice_of, target_of_choice
from shortpencil.scan.practice.focus import focus_of
from shortpencil.scan.practice.history import history_of
from shortpencil.scan.practice.plan import plan_of
from shortpencil.scan.practice.report import report_of, why_sentences
from shortpencil.scan.practice.screen import HEIGHT, WIDTH, screen
from shortpencil.scan.practice.sessions import Session
from tests.practice.invented import Player, rounds_of
from tests.practice.test_phases import plain
from tests.practice.test_plan import DRILLS


def lines_of(rounds):
    e = history_of(rounds)
    f = focus_of(e)
    return screen(e, f, plan_of(f, 30, DRILLS, repeat=True))


@pytest.mark.parametrize("count", [1, 2, 4, 9, 30])
@pytest.mark.parametrize("unmarked", [0.0, 0.6])
def test_every_screen_fits_and_ends_with_plan_and_cautions(count, unmarked):
    for seed in range(3):
        player = Player(
            unmarked=unmarked,
            spread=0.8,
            ways=(0.05, 0.85, 0.05, 0.05),
            causes=(0.0, 0, 1, 0, 0, 0, 0, 0, 0, 0),
        )
        lines = lines_of(rounds_of(player, count, np.random.default_rng(seed)))
        assert len(lines) <= HEIGHT
        assert max(map(len, lines)) <= WIDTH
        assert lines[-1].startswith("Stop if anything hurts")
        assert lines[-2].startswith("At most 60 throws")
        assert sum("min  " in line for line in lines) == 5


def test_one_round_by_hand():
    lines = lines_of([plain((7, 11), (4, 14), (9, 21))])
    assert lines[0].startswith("PRACTISE YOUR PUTTS")
    assert lines[0].endswith("1 round")
    assert lines[1].startswith("Provisional after 1 round")
    (row,) = [line for line in lines if line.startswith("> putts")]
    assert "9 / 30" in row
    assert "30 %" in row
    assert any("no cause is noted" in line for line in lines)


def test_too_much_to_say_leaves_the_plan_whole():
    e = history_of(rounds_of(Player(unmarked=0.5), 3, np.random.default_rng(1)))
    f = focus_of(e)
    f = replace(f, remarks=("a remark of some length " * 40,) * 4, disagreement="a long sentence " * 90)
    lines = screen(e, f, plan_of(f, 30, DRILLS, repeat=True))
    assert len(lines) <= HEIGHT
    assert sum("min  " in line for line in lines) == 5
    assert not any("a remark" in line or "a long sentence" in line for line in lines)  # whole or not at all


def test_no_sentence_ends_in_the_middle():
    ended = re.compile(r"[.;:]$")
    for seed in range(40):
        miss = tuple(np.random.default_rng(seed).uniform(0.15, 0.5, 3))
        player = Player(miss=miss, ways=(0.05, 0.85, 0.05, 0.05), spread=0.3)
        rounds = rounds_of(player, 1 + seed % 9, np.random.default_rng(seed))
        e = history_of(rounds)
        f = focus_of(e)
        days = [h.day for h in e.heads]
        sessions = [Session(day, (seed + i) % 3) for i, day in enumerate(days)]
        choice = choice_of(e, f, sessions)
        plan = plan_of(target_of_choice(choice, e, f), 30, DRILLS)
        lines = screen(e, f, plan, choice)
        assert len(lines) <= HEIGHT
        table = next(i for i, line in enumerate(lines) if line.startswith("recent rounds"))
        above = [line for line in lines[1:table] if line]
        below = lines[table + 4 : next(i for i, line in enumerate(lines) if "30 MINUTES" in line)]
        assert ended.search(above[-1]), above
        assert not any(below) or ended.search([line for line in below if line][-1]), below
        said = " ".join(lines)
        if choice.differs:  # what is to be practised stands under what costs more, before its cause
            assert said.index("Even so, practise") < said.index("Why:")


def test_nobody_is_sure_of_not_knowing():
    """It said "Why: other, or don't know, 19 of 19 notes; clear, over 99 % that it leads"."""
    e = history_of(rounds_of(Player(causes=(*[0] * 9, 1.0), notes="approach"), 8, np.random.default_rng(3)))
    f = focus_of(e)
    assert f.causes.unknown_leads
    plan = plan_of(f, 30, DRILLS)
    noted = f.causes.causes[0].count
    for said in (" ".join(screen(e, f, plan)), " ".join(why_sentences(report_of(e, f, plan)))):
        assert f'is not known yet: {noted} of {noted} notes say "other, or don\'t know".' in said
        assert "that it leads" not in said
        assert "that it truly leads" not in said
        assert "notes stand" not in said
    assert f.causes.level == "clear"  # of the notes, which say nothing


def test_a_long_cause_loses_its_outlook_not_its_end():
    e = history_of(rounds_of(Player(causes=(0, 1.0, *[0] * 8)), 3, np.random.default_rng(3)))
    f = focus_of(e)
    but = "40 of 63 misses to a side went where a disc released early goes; more hyzer goes there too."
    causes = replace(f.causes, level="not settled", more_rounds=10, agrees=False, suggestion=but)
    for suggestion, ends in (
        (but, "goes there too. Your own mark stands."),
        (but * 3, "more rounds would tell."),
    ):
        f = replace(f, causes=replace(causes, suggestion=suggestion))
        said = " ".join(screen(e, f, plan_of(f, 30, DRILLS)))
        assert said[said.index("Why:") :].split("  ")[0].split(" recent rounds")[0].endswith(ends)


@pytest.mark.parametrize("language", ["en", "de"])
def test_the_terminal_says_from_where_the_ten_are_thrown_and_wastes_no_hour(language):
    e = history_of(rounds_of(Player(miss=(0.1, 0.1, 0.6)), 9, np.random.default_rng(1)))
    f = focus_of(e)
    for unit, far in (("m", "8 m"), ("ft", "26 ft")):
        with speaking(language):
            lines = screen(e, f, plan_of(f, 120, DRILLS, unit=unit))
        assert max(map(len, lines)) <= WIDTH
        (test,) = (line for line in lines if re.search("Ten putts|Zehn Putts", line))
        assert far in test
        # What throws and their rests leave over is no order to walk about for an hour.
        (walk,) = (line for line in lines if re.search("another day|andern Tag", line))
        assert int(walk.split()[0]) > 30


def test_no_number_is_parted_from_its_unit_at_the_end_of_a_line():
    for unit in ("%", "m", "ft", "min"):
        said = f"{'missed ' * 11}33 {unit} lately, and so on."
        assert len(said[: said.index("33") + 2]) == 79, "the number alone would fit"
        first, second = words.wrapped(said, 80, "")
        assert first.endswith("missed")
        assert second.startswith(f"33 {unit} lately")
    assert words.wrapped("a b", 3, "  ") == ["  a", "  b"]
