"""The commands `practised` and `season`, on a real store."""

import argparse
import json
from dataclasses import replace
from datetime import UTC, date, datetime, timedelta

import numpy as np
import pypdfium2
import pytest

from shortpencil.forms.errors import InputError, RecordError
from shortpencil.scan.advice import Asked, advise, load_drills
from shortpencil.scan.cli import practice, season
from shortpencil.scan.language import day_said, speaking
from shortpencil.scan.records.composing.rounds import PracticeSet, Value
from shortpencil.scan.records.store import open_store
from shortpencil.scan.records.storing.told import ToldSession
from tests.practice.invented import Player, only_marked, rounds_of

START = date(2025, 4, 1)


def run(*words):
    parser = argparse.ArgumentParser()
    commands = parser.add_subparsers()
    season.add_to(commands)
    practice.add_to(commands)
    args = parser.parse_args([str(word) for word in words])
    return args.run(args)


@pytest.fixture
def place(tmp_path):
    return tmp_path / "rounds.sqlite"


@pytest.fixture
def full(place):
    """Twenty rounds of one player with sessions of putts, half on cards, half told."""
    rounds = rounds_of(Player(name="Wren"), 20, np.random.default_rng(1), start=START, every_days=9)
    sets, told = [], []
    for i in range(10):
        day = START + timedelta(days=18 * i + 3)
        if i % 2:
            told.append(ToldSession(day, "putt", 30, "Wren"))
        else:
            ten = Value(10, source="printed")
            sets.append(PracticeSet(f"p{i}", 1, day, "Wren", "ten-putts", ten, Value(5 + i % 4)))
    with open_store(place) as store:
        store.add_rounds(rounds, sets)
        for one in told:
            store.tell_session(one, datetime.now(UTC))
    return place


def test_a_session_is_told_listed_and_taken_back(place, capsys):
    assert run("practised", "putts", 20, "--on", "2025-05-20", "--store", place) == 0
    assert "Kept as number 1: 20 May 2025, putts, 20 minutes" in capsys.readouterr().out
    assert run("practised", "--store", place) == 0
    assert "1  20 May 2025, putts, 20 minutes" in capsys.readouterr().out
    assert run("practised", "--take-back", 1, "--json", "--store", place) == 0
    (gone,) = json.loads(capsys.readouterr().out)["sessions"]
    assert (gone["number"], gone["phase"], gone["minutes"]) == (1, "putt", 20)
    assert run("practised", "--json", "--store", place) == 0
    assert json.loads(capsys.readouterr().out.splitlines()[-1]) == {"schema": 1, "sessions": []}
    with pytest.raises(RecordError, match="found 1"):
        run("practised", "--take-back", 1, "--store", place)


def test_the_only_player_is_taken_to_be_meant_and_one_of_several_must_be_named(full, capsys):
    run("practised", "putt", "--store", full)
    assert capsys.readouterr().out.strip().endswith("putts, 30 minutes, Wren")
    with open_store(full) as store:
        store.add_rounds(rounds_of(Player(name="Ash"), 1, np.random.default_rng(2), prefix="a"))
    with pytest.raises(InputError, match="Ash, Wren"):
        run("practised", "putt", "--store", full)
    run("practised", "putt", "--player", "Ash", "--store", full)


def test_a_session_that_is_told_twice_is_kept_twice_and_said_so(place, capsys):
    said = []
    for minutes in (20, 30, 20):
        run("practised", "putts", minutes, "--on", "2025-05-20", "--store", place)
        said.append("--take-back 3" in capsys.readouterr().err)
    assert said == [False, False, True]


def test_a_session_of_somebody_without_rounds_is_kept_and_told(full, capsys):
    for player, told in (("Wern", True), ("Wren", False)):
        run("practised", "putt", "--player", player, "--store", full)
        out, err = capsys.readouterr()
        assert out.strip().endswith(player)
        assert ("No rounds of Wern in" in err) == told


@pytest.mark.parametrize("words", [("putt", "long"), ("putt", 30, "--on", "May")])
def test_what_is_no_session_is_wrong_usage(place, words):
    with pytest.raises(SystemExit) as error:
        run("practised", *words, "--store", place)
    assert error.value.code == 2


def test_a_phase_that_no_round_has_is_refused_and_nothing_kept(place):
    with pytest.raises(InputError, match=r"\(drive, approach, putt\), found 'upshot'"):
        run("practised", "upshot", 30, "--store", place)
    with open_store(place) as store:
        assert store.told_sessions() == ()


def test_a_phase_is_told_as_it_is_called_in_the_language_that_is_spoken(place):
    for word in ("putt", "Putts", "drives", "DRIVE"):
        run("practised", word, 30, "--on", "2025-05-20", "--store", place)
    with speaking("de"):
        run("practised", "Annäherung", 30, "--on", "2025-05-20", "--store", place)
        run("practised", "abwürfe", 30, "--on", "2025-05-20", "--store", place)
    with open_store(place) as store:
        told = [session.phase for session in store.told_sessions()]
    assert told == ["putt", "putt", "drive", "drive", "approach", "drive"]


def test_a_day_to_come_is_refused_and_nothing_kept(place):
    with pytest.raises(InputError, match="a day that has come"):
        run("practised", "putt", 30, "--on", "2999-01-01", "--store", place)
    with open_store(place) as store:
        assert store.told_sessions() == ()


def test_the_advice_counts_what_was_practised(full, capsys):
    run("focus", "--store", full, "--json")
    data = json.loads(capsys.readouterr().out)
    sessions = {p["phase"]: p["sessions"] for p in data["next"]["phases"]}
    assert sessions == {"drive": 0, "approach": 0, "putt": 10}
    assert "so far)" in data["next"]["says"]
    assert data["next"]["phase"] != "putt"


def test_a_round_that_lies_after_it_was_read_is_told_with_what_it_does(full, capsys):
    run("season", "--store", full)
    assert "lies after" not in capsys.readouterr().err
    with open_store(full) as store:
        last = store.rounds()[-1]
        read_at = datetime(2025, 12, 31, 23, tzinfo=UTC)
        tomorrow = replace(last, id="EAST", played_on=Value("2026-01-01"), recorded_at=read_at)
        slip = replace(last, id="SLIP", played_on=Value("2029-03-09"), recorded_at=read_at)
        store.add_rounds([tomorrow, slip])
    run("season", "--store", full)
    assert "1 round lies after the day it was read (9 Mar 2029, SLIP)" in capsys.readouterr().err


def test_the_season_in_the_terminal(full, capsys):
    assert run("season", "--store", full) == 0
    lines = capsys.readouterr().out.splitlines()
    assert max(map(len, lines)) <= 80
    assert lines[0].startswith("YOUR SEASON  Wren · 20 rounds · 10 sessions")
    said = "\n".join(lines)
    for part in ("AIM  Until", " cost most lately", "WHAT CHANGED", "TESTS OF TEN", "Week 4", "Not medical"):
        assert part in said
    assert sum(line.startswith(("Apr 2025", "May 2025", "Sep 2025")) for line in lines) == 3
    assert not any(line.lstrip().startswith("%") for line in lines)


def test_months_never_mix_rounds_of_nine_and_of_eighteen_holes(full, capsys):
    run("season", "--store", full, "--json")
    before = json.loads(capsys.readouterr().out)["months"]
    with open_store(full) as store:
        wild = Player(name="Wren", miss=(0.99, 0.99, 0.99))
        store.add_rounds(
            rounds_of(wild, 3, np.random.default_rng(5), start=START, every_days=2, prefix="n", holes=9)
        )
    run("season", "--store", full, "--json")
    after = json.loads(capsys.readouterr().out)["months"]
    assert [month["missed"] for month in after] == [month["missed"] for month in before]
    assert after[0]["rounds"] == before[0]["rounds"] + 3
    run("season", "--store", full)
    assert "Months show the rounds of 18 holes" in " ".join(capsys.readouterr().out.split())


def test_the_season_as_page_sheet_and_json(full, tmp_path, capsys):
    html, pdf = tmp_path / "s.html", tmp_path / "s.pdf"
    assert run("season", "--store", full, "--report", html) == 0
    page = html.read_text(encoding="utf-8")
    assert "<svg" in page
    assert "season</h1>" in page
    assert "http" not in page.replace("http://www.w3.org/2000/svg", "")
    assert run("season", "--store", full, "--report", pdf, "--paper", "letter") == 0
    document = pypdfium2.PdfDocument(pdf)
    assert len(document) == 1
    text = document[0].get_textpage().get_text_bounded()
    assert "Wren's season" in text
    assert "Not under trees" in text
    capsys.readouterr()
    assert run("season", "--store", full, "--json", "--months", 2) == 0
    data = json.loads(capsys.readouterr().out)
    assert [m["month"] for m in data["months"]] == ["2025-08", "2025-09"]
    assert data["next"] in ("drive", "approach", "putt")
    assert len(data["weeks"]) == 4


def test_a_season_without_rounds_or_days_says_so(place, capsys):
    open_store(place).close()
    assert run("season", "--store", place) == 1
    assert "no round yet" in capsys.readouterr().err
    with pytest.raises(InputError, match=r"\.html or \.pdf"):
        run("season", "--store", place, "--report", "x.txt")


def test_the_aim_is_for_the_month_after_today_however_long_ago_the_last_round_was(full, capsys):
    """The year is that up to the newest day; an aim until a day that is past is none."""
    days = [date.today()]
    assert run("season", "--json", "--store", full) == 0
    told = json.loads(capsys.readouterr().out)
    days.append(date.today())  # where midnight came between
    assert any(told["aim"].startswith(f"Until {day_said(day + timedelta(days=30))}:") for day in days)
    assert told["to"] < "2025-12"
    with open_store(full) as store:
        advice = advise(store, Asked("Wren"), load_drills(None))
    newest = advice.season().last
    assert advice.season(today=newest).until == newest + timedelta(days=30)
    assert advice.season(today=newest - timedelta(days=5)).until == newest + timedelta(days=30)
    assert advice.season(today=newest + timedelta(days=70)).until == newest + timedelta(days=100)


def test_months_have_no_rate_of_what_a_card_of_misses_does_not_count(place, capsys):
    """A share of misses among marks that are all misses is always the whole."""
    full = rounds_of(Player(name="Wren"), 3, np.random.default_rng(1), start=date(2025, 4, 1))
    bare = []
    for one in rounds_of(
        Player(name="Wren"), 6, np.random.default_rng(2), start=date(2025, 5, 3), prefix="b-"
    ):
        holes = tuple(
            replace(
                h,
                throws=tuple(
                    t if t.execution.value == "miss" else replace(t, execution=Value("unmarked"))
                    for t in h.throws
                ),
            )
            for h in one.holes
        )
        bare.append(replace(one, holes=holes))
    with open_store(place) as store:
        store.add_rounds([*full, *bare])
    assert run("season", "--store", place) == 0
    said = capsys.readouterr().out
    april, may = (next(line for line in said.splitlines() if line.startswith(m)) for m in ("Apr", "May"))
    assert "%" in april
    assert "%" not in may
    assert "100 %" not in said
    assert "only misses marked" in " ".join(said.split())


def test_season_and_session_have_the_same_aim(full, capsys):
    assert run("season", "--json", "--store", full) == 0
    season_ = json.loads(capsys.readouterr().out)
    assert run("focus", "--json", "--store", full) == 0
    focus = json.loads(capsys.readouterr().out)
    aim = focus["plan"]["aim"]
    assert f"{aim['count']} of {aim['of']} in the test" in season_["aim"]


@pytest.mark.parametrize("command", ["season", "focus"])
def test_json_is_english_whoever_asks(full, capsys, command):
    assert run(command, "--store", full, "--json") == 0
    english = capsys.readouterr().out
    with speaking("de"):
        assert run(command, "--store", full, "--json") == 0
        assert capsys.readouterr().out == english
        assert run(command, "--store", full) == 0
    assert "Einheit" in capsys.readouterr().out


def test_what_costs_most_is_told_no_surer_than_it_is(place, capsys):
    """Season said flatly "drives cost most lately" where focus had 43 %, and so had approaches."""
    said = {}
    for seed, count in ((1, 1), (2, 14), (4, 40)):
        store_at = place.with_name(f"{seed}.sqlite")
        player = Player(miss=(0.3, 0.3, 0.3 + 0.1 * (seed == 2) + 0.3 * (seed == 4)))
        with open_store(store_at) as store:
            store.add_rounds(rounds_of(player, count, np.random.default_rng(seed), start=START), [])
            focus = advise(store, Asked()).focus
        run("season", "--store", store_at)
        said[focus.level] = " ".join(capsys.readouterr().out.split())
        percent = f"({round(100 * focus.p)} %)"
        assert (percent in said[focus.level]) == (focus.level != "clear")
    assert " may cost most lately (" in said["not settled"]
    assert "Putts cost most lately: about" in said["clear"]


def test_one_marked_phase_is_never_what_cost_most(place, capsys):
    rounds = [only_marked(r, "putt") for r in rounds_of(Player(), 9, np.random.default_rng(1), start=START)]
    with open_store(place) as store:
        store.add_rounds(rounds, [])
    run("season", "--store", place)
    said = " ".join(capsys.readouterr().out.split())
    assert "Only putts are marked, so there is nothing to compare: about" in said
    assert "cost most lately" not in said
    assert "Practise putts next, since no others are marked." in said
    run("season", "--json", "--store", place)
    assert {m["costs_most"] for m in json.loads(capsys.readouterr().out)["months"]} == {None}
