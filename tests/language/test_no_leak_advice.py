"""In a made-up language of brackets, no advice on page, paper or terminal says a word outside of them."""

from __future__ import annotations

import re
from collections.abc import Sequence
from datetime import date, timedelta
from pathlib import Path
from typing import Any

import pytest

from shortpencil.forms.drawing import Shape, Words
from shortpencil.forms.field_map import fingerprint
from shortpencil.forms.layout import PAPERS
from shortpencil.forms.pdf import identify
from shortpencil.scan.advice import Advice, Asked, advise
from shortpencil.scan.cli.main import main
from shortpencil.scan.cli.review import focus_of_store
from shortpencil.scan.language import speaking
from shortpencil.scan.practice import card, screen, season_page, sheet
from shortpencil.scan.records.composing.rounds import PracticeSet, Value
from shortpencil.scan.records.recording.record_json import round_from_json
from shortpencil.scan.records.recording.typed import filled_out
from shortpencil.scan.records.store import Store
from shortpencil.scan.records.storing.told import ToldSession
from tests.language.brackets import CODE, leaks, outside
from tests.language.test_no_leak import written_by_people
from tests.review.conftest import NOON, Page
from tests.year.season import typed_rounds

#: A player of a game with a phase of its own, beside the two of the usual game.
SCRAMBLER = "Robin"
PLAYERS = ("Wren", "Ash", SCRAMBLER)
#: A drill that is in no list is called by its id.
OWN_DRILL = {"Wren": "xylo", "Ash": "xylo", SCRAMBLER: "own-scramble-ten"}
#: The group's page tells in its command which phases another game has.
DATA = {"min", "ft", "shortpencil", "scramble", "xylo"}


def scrambled(given: dict[str, Any], number: int) -> dict[str, Any]:
    """Return a round of the usual game as one whose approaches are of a phase of its own."""
    phases = [
        {"id": "drive", "label": "Drive", "role": "tee", "columns": ["drive"]},
        {"id": "scramble", "label": "Scramble", "role": "between", "columns": ["approach1", "approach2"]},
        {"id": "putt", "label": "Putt", "role": "target", "columns": ["putt1", "putt2", "putt3"]},
    ]
    text = {"approach": "scramble"}
    holes = [
        {**hole, "throws": [{**t, "phase": text.get(t["phase"], t["phase"])} for t in hole["throws"]]}
        for hole in given["holes"]
    ]
    tallies = {text.get(phase, phase): count for phase, count in given["tallies"].items()}
    worst = text.get(given["worst"], given["worst"])
    more = {"id": f"OWN{number:05d}", "player": SCRAMBLER, "phases": phases}
    return {**given, **more, "holes": holes, "tallies": tallies, "worst": worst}


@pytest.fixture
def played(store: Store) -> Store:
    """A store with a year of two players and of one with a phase of their own, with practice of all kinds."""
    years = typed_rounds()
    own = [scrambled(given, number) for number, given in enumerate(typed_rounds(16, seed=3))]
    sets = [
        PracticeSet(
            f"P{number}",
            1,
            date(2026, 1, 9) + timedelta(days=17 * number),
            player,
            drill,
            Value(10),
            Value(6),
        )
        for number, (player, drill) in enumerate(
            (player, drill)
            for player in PLAYERS
            for drill in ("ten-putts", "distance-ladder", OWN_DRILL[player])
        )
    ]
    store.add_rounds([round_from_json(filled_out(given)) for given in (*years, *own)], sets)
    for player in PLAYERS:
        phase = "scramble" if player == SCRAMBLER else "putt"
        for day in (date(2026, 2, 20), date(2026, 5, 20)):
            store.tell_session(ToldSession(day, phase, 45, player), NOON)
    return store


def data_of(store: Store) -> set[str]:
    return written_by_people(store) | DATA


def words_outside(text: str, data: set[str]) -> set[str]:
    words = re.findall(r"[^\W\d_]{2,}", outside(text))
    return {word for word in words if word.casefold() not in data}


def advice_of(store: Store, player: str) -> Advice:
    found = advise(store, Asked(player))
    assert not isinstance(found, str), found
    return found


@pytest.mark.usefixtures("made_up")
@pytest.mark.parametrize("player", PLAYERS)
def test_the_focus_page_says_no_word_that_is_not_in_the_catalogue(
    page: Page, played: Store, player: str
) -> None:
    page.desk.focus = focus_of_store(played)
    browser = page.browser()
    assert browser.post("/language", data={"language": CODE, "back": "/"}).status_code == 200
    html = browser.get(f"/focus?player={player}&minutes=30").text
    assert 'class="charts' in html or "<svg" in html
    assert leaks(html, data_of(played)) == []


def said(shapes: Sequence[Shape]) -> str:
    """Return the words of a drawing in the order drawn; a sentence of several lines comes together again."""
    return " ".join(shape.text for shape in shapes if isinstance(shape, Words))


@pytest.mark.usefixtures("made_up")
@pytest.mark.parametrize("player", PLAYERS)
def test_what_is_printed_says_no_word_that_is_not_in_the_catalogue(played: Store, player: str) -> None:
    with speaking(CODE):
        found = advice_of(played, player)
        year = found.season(player)
        assert not isinstance(year, str)
        report = found.report(player, with_pictures=False)
        paper = PAPERS["a4"]
        blank = card.practice_sheet(found.plan, paper, unit=found.unit, hand="right")
        known = fingerprint(blank.layout)
        marks = identify("7K3MQ2XA", known, player)
        drawn = {
            "report": sheet.sheet(report, paper),
            "season": season_page.sheet(year, paper),
            "card": card.practice_page(blank, marks, found.plan),
        }
    data = data_of(played) | {word.casefold() for word in re.findall(r"[^\W\d_]{2,}", f"7K3MQ2XA {known}")}
    found = {name: words_outside(said(shapes), data) for name, shapes in drawn.items()}
    assert found == {"report": set(), "season": set(), "card": set()}


@pytest.mark.usefixtures("made_up")
@pytest.mark.parametrize("player", PLAYERS)
def test_the_terminal_says_no_word_of_advice_that_is_not_in_the_catalogue(
    played: Store,
    place: Path,
    player: str,
    tmp_path: Path,
    capsys: pytest.CaptureFixture[str],
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    # Brackets make sentences longer than the screen has room for, which cuts what is too long.
    monkeypatch.setattr(screen, "WIDTH", 4000)
    monkeypatch.setattr(screen, "HEIGHT", 400)
    whose = ["--player", player, "--store", str(place)]
    report, year, group, practice = (tmp_path / name for name in ("r.html", "y.html", "g.html", "c.pdf"))
    phase = "scramble" if player == SCRAMBLER else "putt"
    commands = [
        ["focus", *whose, "--report", str(report), "--print", str(practice)],
        ["focus", *whose, "--practised", phase, "--since", "2026-02-01"],
        ["focus", *whose, "--group", str(group)],
        ["practised", *whose], ["practised", phase, "30", *whose], ["practised", "--take-back", "1", *whose],
        ["season", *whose, "--report", str(year)],
    ]  # fmt: skip
    data = data_of(played)
    names = {word.casefold() for word in re.findall(r"[^\W\d_]{2,}", f"{tmp_path} html pdf")}
    names |= {"focus", "phases", "drive"}  # what is typed
    found: dict[str, object] = {}
    for command in commands:
        main(command)
        told = capsys.readouterr()
        if wrong := words_outside(told.out + told.err, data | names):
            found[" ".join(command[:1] + command[5:6])] = wrong
    for path in (report, year, group):
        if wrong := leaks(path.read_text("utf-8"), data):
            found[path.name] = wrong
    assert found == {}
