"""The front door for programs: each function's own example, and what it refuses."""

from __future__ import annotations

import doctest
import json
import sys
from pathlib import Path

import pytest

from shortpencil.scan import front_door, shortpencil
from shortpencil.scan.cli.main import main


@pytest.fixture(autouse=True)
def _own_place(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("SHORTPENCIL_HOME", str(tmp_path / "home"))
    monkeypatch.chdir(tmp_path)
    monkeypatch.setitem(sys.modules, "shortpencil", shortpencil)  # as it is installed


FUNCTIONS = [name for name in shortpencil.__all__ if name[0].islower()]


def test_every_function_has_an_example_and_a_type() -> None:
    assert {name for name in vars(shortpencil) if name[0] != "_"} == set(shortpencil.__all__)
    for name in FUNCTIONS:
        function = getattr(shortpencil, name)
        assert "return" in function.__annotations__
        assert ">>> import shortpencil" in function.__doc__


@pytest.mark.parametrize("name", FUNCTIONS)
def test_the_example_says_what_comes_out(name: str) -> None:
    (example,) = doctest.DocTestFinder(recurse=False).find(getattr(front_door, name), name, globs={})
    failed, tried = doctest.DocTestRunner(optionflags=doctest.ELLIPSIS).run(example)
    assert tried >= 2
    assert not failed


def test_what_is_wrong_is_said_in_words_for_people(tmp_path: Path) -> None:
    with pytest.raises(shortpencil.InputError, match="expected a4 or letter, found 'a5'"):
        shortpencil.print_card("x.pdf", paper="a5")
    with pytest.raises(shortpencil.InputError, match="no form of that name"):
        shortpencil.print_card("x.pdf", "round19")
    with pytest.raises(shortpencil.InputError, match="expected 1 or more"):
        shortpencil.print_card("x.pdf", copies=0)
    with pytest.raises(shortpencil.ShortpencilError):
        shortpencil.read(tmp_path / "none.jpg")
    (tmp_path / "text.sqlite").write_text("no store")
    with pytest.raises(shortpencil.RecordError):
        shortpencil.open_store(tmp_path / "text.sqlite")
    assert not (tmp_path / "x.pdf").exists()


def test_json_is_what_the_commands_print(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    photo = shortpencil.sample_photos()["plain_good_light.jpg"]
    place = tmp_path / "rounds.sqlite"
    shortpencil.print_card(tmp_path / "c.pdf", player="Wren", evening="Thursday 3")
    with shortpencil.open_store(place) as store:
        list(shortpencil.keep(store, photo))
        advice = shortpencil.advise(store)
        assert not isinstance(advice, str)
        season = advice.season()
        evenings = shortpencil.evenings(store)
    printed = {}
    for command in ("rounds", "evening", "focus", "season"):
        capsys.readouterr()
        main([command, "--json", "--store", str(place)])
        printed[command] = json.loads(capsys.readouterr().out)
    assert shortpencil.as_json(shortpencil.listing(place)) == printed["rounds"]
    assert [shortpencil.as_json(evening) for evening in evenings] == printed["evening"]["evenings"]
    assert shortpencil.as_json(advice) == printed["focus"]
    assert shortpencil.as_json(season) == printed["season"]
    main(["read", "--json", "--store", str(place), str(photo)])
    (card,) = json.loads(capsys.readouterr().out)["cards"]
    with shortpencil.open_store(place) as store:
        (kept,) = shortpencil.keep(store, photo)
    here = shortpencil.as_json(kept)
    assert shortpencil.as_json(kept.round) == here["record"]
    for one in (here, card):  # each call says its own time
        assert one["record"].pop("recorded_at")
    assert here == card
    with pytest.raises(TypeError, match="found str"):
        shortpencil.as_json("a round")  # type: ignore[arg-type]


def test_cards_of_nobody_are_for_no_evening() -> None:
    with pytest.raises(shortpencil.InputError, match="cards of nobody for 'Thursday 3'"):
        shortpencil.print_card("x.pdf", evening="Thursday 3")
    assert not Path("x.pdf").exists()


def test_a_player_is_forgotten_by_store_and_printed_cards_and_a_stranger_is_refused(tmp_path: Path) -> None:
    shortpencil.print_card(tmp_path / "c.pdf", player="Wren", evening="Thursday 3")
    with shortpencil.open_store(tmp_path / "rounds.sqlite") as store:
        shortpencil.forget(store, "Wren")
        with pytest.raises(shortpencil.InputError, match="Wren: expected the alias of a player"):
            shortpencil.forget(store, "Wren")
    assert shortpencil.evenings() == ()
    assert not list((tmp_path / "home" / "unfinished").glob("*"))


def test_a_store_that_holds_rounds_is_replaced_only_where_that_is_said(tmp_path: Path) -> None:
    place = tmp_path / "rounds.sqlite"
    with shortpencil.open_store(place) as store:
        list(shortpencil.keep(store, shortpencil.sample_photos()["plain_good_light.jpg"]))
        made = shortpencil.backup(store, tmp_path / "all.zip")
    assert made.rounds == 1
    with pytest.raises(shortpencil.RecordError, match="expected no store yet"):
        shortpencil.restore(tmp_path / "all.zip", place)
    assert shortpencil.restore(tmp_path / "all.zip", place, replace=True) == made
    assert len(shortpencil.listing(place).rounds) == 1
