import re
from dataclasses import replace

import numpy as np
import pytest

from shortpencil.scan.practice.focus import SETTLED_ROUNDS, focus_of, why_no_focus
from shortpencil.scan.practice.history import history_of
from shortpencil.scan.practice.plan import plan_of
from shortpencil.scan.practice.report import report_of
from shortpencil.scan.practice.screen import screen
from shortpencil.scan.practice.web import page
from tests.practice.invented import Player, hole, known, one_round, only_marked, rounds_of, throw
from tests.practice.test_phases import plain
from tests.practice.test_plan import DRILLS


def test_first_round_is_the_pencils_count_and_provisional():
    f = focus_of(history_of([plain((7, 11), (4, 14), (9, 21))]))
    assert (f.phase, f.by_count, f.by_rate) == ("putt", "putt", "drive")
    assert f.provisional
    assert "provisional after 1 round" in f.sure
    assert "39 % of throws missed against 30 %" in f.disagreement
    assert f.disagreement.endswith("being missed more often in a round.")


def test_where_one_phase_is_marked_nothing_is_clear():
    e = history_of([only_marked(r, "putt") for r in rounds_of(Player(), 12, np.random.default_rng(2))])
    f = focus_of(e)
    assert f.alone
    assert f.p > 0.9
    assert f.level == "not settled"
    assert "only putts are marked, so there is nothing to compare" in f.sure
    said = page(report_of(e, f, plan_of(f, 30, DRILLS)))
    # no costs of 0 strokes for what nobody marked
    row = re.search(r"<th scope=\"row\">drives</th>(.*?)</tr>", said).group(1)
    assert re.findall(r"<td>(.*?)</td>", row)[3:] == ["–"] * 3


def test_rates_that_read_alike_are_not_set_against_each_other():
    f = focus_of(history_of([plain((7, 11), (6, 16), (12, 32))]))
    assert (f.phase, f.by_count, f.by_rate) == ("putt", "putt", "drive")
    alike = focus_of(history_of([plain((2, 18), (7, 18), (12, 31))]))
    assert (alike.phase, alike.by_count, alike.by_rate) == ("putt", "putt", "approach")
    by_rate, own = alike.phases[1].recent.interval.middle, alike.phases[2].recent.interval.middle
    assert by_rate > own
    assert f"{by_rate:.2f}" == f"{own:.2f}"
    assert alike.disagreement is None


STEADY = Player(miss=(0.6, 0.1, 0.08), cost=(0.6, 0.5, 0.5))


def test_a_worst_phase_that_stays_becomes_clear():
    f = focus_of(history_of(rounds_of(STEADY, 8, np.random.default_rng(4))))
    assert (f.phase, f.level, f.provisional, f.more_rounds) == ("drive", "clear", False, 0)
    assert f.disagreement is None
    assert f.outlook is None
    assert f.sure.startswith("clear: ")


def test_provisional_ends_after_five_rounds_however_clear():
    for rounds in (SETTLED_ROUNDS - 1, SETTLED_ROUNDS):
        f = focus_of(history_of(rounds_of(STEADY, rounds, np.random.default_rng(4))))
        assert f.provisional == (rounds < SETTLED_ROUNDS)
        assert f.level == "clear"
        if f.provisional:
            assert f.outlook == "It stays provisional for 1 more round."


def test_equal_phases_may_not_settle_and_the_price_of_a_wrong_choice_is_told():
    f = focus_of(history_of([plain((5, 13), (5, 13), (5, 13), str(i)) for i in range(6)]))
    assert f.level == "not settled"
    assert f.more_rounds is None
    assert "keep marking" in f.sure
    assert f.outlook.startswith("More rounds may not settle it soon. If it is the wrong phase, another costs")
    # what is told is what another phase costs more: practice brings only a part of it
    assert f.outlook.endswith("strokes a round more.")
    close = replace(f, at_stake=0.1)
    assert "a fair choice" in close.outlook
    # never beside "likely"
    assert replace(f, level="likely").outlook == "More rounds may leave it at that."
    assert replace(f, level="likely", more_rounds=7).outlook.startswith(
        "7 more rounds will make it clear in about"
    )


def test_more_misses_of_the_cheaper_phase_are_explained():
    player = Player(miss=(0.40, 0.2, 0.35), cost=(0.1, 0.4, 0.95))
    f = focus_of(history_of(rounds_of(player, 25, np.random.default_rng(1))))
    assert f.phase == "putt"
    if f.by_count != "putt":
        assert "costs more, about" in f.disagreement
    assert f.chosen.cost.middle > f.phases[0].cost.middle


def test_no_round_no_mark_and_no_miss_are_told_apart():
    nothing = history_of([])
    unmarked = history_of([one_round("a", [hole(1, [throw(1, "drive", "unmarked", True)])])])
    clean = history_of([plain((0, 18), (0, 18), (0, 30))])
    for history, expected in (
        (nothing, "no round yet"),
        (unmarked, "unknown"),
        (clean, "Not one of 66 marked"),
    ):
        assert focus_of(history) is None
        assert expected in why_no_focus(history)


def test_a_player_who_marks_only_misses_is_told_what_that_means():
    holes = [
        hole(n, [throw(1, "drive", "miss" if n < 6 else "unmarked"), throw(2, "putt", "unmarked", True)])
        for n in range(1, 19)
    ]
    f = focus_of(history_of([one_round("a", holes)]))
    assert f.phase == "drive"
    assert any("only misses" in r for r in f.remarks)
    assert any("No approaches and putts are marked" in r for r in f.remarks)


def test_some_unmarked_throws_are_mentioned_as_unknown():
    f = focus_of(history_of(rounds_of(Player(unmarked=0.5), 3, np.random.default_rng(2))))
    assert any("unknown, not misses" in r for r in f.remarks)
    assert f.share_unmarked == pytest.approx(0.5, abs=0.1)


def test_the_players_own_choice_is_set_beside_the_focus():
    rounds = [plain((9, 9), (3, 15), (4, 26), str(i)) for i in range(5)]
    rounds[-1] = replace(rounds[-1], worst=known("putt"))
    assert any("you chose putts" in r for r in focus_of(history_of(rounds)).remarks)


def test_causes_come_from_the_focus_phase_of_recent_rounds():
    player = Player(miss=(0.6, 0.1, 0.1), notes="drive")
    f = focus_of(history_of(rounds_of(player, 30, np.random.default_rng(3))), half_life_rounds=2)
    assert f.phase == "drive"
    assert f.causes.rounds <= 6
    assert f.causes.leading.id == "late"


@pytest.mark.parametrize("rounds", [1, 8])
def test_a_phase_that_alone_is_marked_is_never_said_to_cost_most(rounds):
    """One missed putt, and no other mark, is no proof that putts cost most."""
    putts = [replace(throw(1, "putt", "miss"), distance_m=5.0), throw(2, "putt", "clean", holed=True)]
    history = history_of([one_round(str(i), [hole(1, putts), hole(2, putts)]) for i in range(rounds)])
    focus = focus_of(history)
    assert focus.phase == "putt"
    assert focus.alone
    assert "only putts are marked" in focus.sure
    said = "\n".join(screen(history, focus, plan_of(focus, 30, DRILLS)))
    told = page(report_of(history, focus, plan_of(focus, 30, DRILLS)))
    assert not re.search(r"99 %|100 % that", said + told.replace("\N{NO-BREAK SPACE}", " "))
    assert not focus_of(history_of(rounds_of(STEADY, 1, np.random.default_rng(4)))).alone


def test_who_marks_one_phase_alone_is_not_told_of_the_marks_of_others():
    """It said that two thirds of the throws have no mark and that the rates allow for it."""
    rounds = rounds_of(Player(), 6, np.random.default_rng(6))
    alone = focus_of(history_of([only_marked(r, "putt") for r in rounds]))
    assert not any("have no mark" in remark for remark in alone.remarks)
    assert any("No drives and approaches are marked" in remark for remark in alone.remarks)
    some = focus_of(history_of(rounds_of(Player(unmarked=0.5), 6, np.random.default_rng(6))))
    assert any("have no mark" in remark for remark in some.remarks)
