"""The commands `hand` and `forget`, and reading with and without a player's hand."""

from __future__ import annotations

import io
import json
from pathlib import Path

import pytest

from shortpencil.forms.catalog import Catalog
from shortpencil.scan.cli.main import main
from shortpencil.scan.records.store import open_store
from tests.records.belonging.test_hands import SIZE, add, answer, boxes, card
from tests.records.cards import RECORDED_AT
from tests.records.conftest import read_form

SAMPLE = Path(__file__).parents[2] / "sample_scans" / "plain_good_light.jpg"


@pytest.fixture
def home(tmp_path, monkeypatch):
    monkeypatch.setenv("SHORTPENCIL_HOME", str(tmp_path))
    return tmp_path


@pytest.fixture
def place(home):
    """A store with a card of Wren's, answered, and one of Ash's, in the usual place."""
    path = home / "rounds.sqlite"
    with open_store(path, read_form=read_form) as store:
        add(store, *card(1, player="Wren"))
        answer(store, "CARD0001", 7)
        add(store, *card(2, player="Ash"))
    return path


def test_hand_lists_what_is_kept_of_whom(place, capsys):
    assert main(["hand"]) == 0
    assert capsys.readouterr().out.splitlines() == [
        "Ash: 0 digits (0 by an answer, 0 by the card's sums), 1 more that nobody vouches for, 1 kB",
        "Wren: 1 digit (1 by an answer, 0 by the card's sums), 1 kB",
        "    7: 1",
    ]


def test_hand_as_json(place, capsys):
    assert main(["hand", "--player", "Wren", "--json"]) == 0
    assert json.loads(capsys.readouterr().out) == {
        "schema": 1,
        "hands": [
            {
                "player": "Wren",
                "digits": {"7": {"person": 1, "sums": 0}},
                "untold": 0,
                "bytes": SIZE,
                "off": False,
            }
        ],
    }


def test_an_empty_store_says_how_a_hand_is_learnt(home, capsys):
    open_store(home / "rounds.sqlite").close()
    assert main(["hand", "--player", "Wren"]) == 0
    out, err = capsys.readouterr()
    assert out == ""
    assert "Nothing of Wren is kept" in err


def test_erase_takes_one_hand_and_leaves_the_other(place, capsys):
    assert main(["hand", "--player", "Wren", "--erase"]) == 0
    assert "Wren: 1 box erased." in capsys.readouterr().err
    with open_store(place, read_form=read_form) as store:
        assert [row.player for row in boxes(store)] == ["Ash"]


def test_off_erases_for_good_and_on_begins_again(place, capsys):
    assert main(["hand", "--player", "Wren", "--off"]) == 0
    out, err = capsys.readouterr()
    assert out == "Wren: nothing is kept, as you wished.\n"
    assert "Nothing of it is kept from now on" in err
    with open_store(place, read_form=read_form) as store:
        add(store, *card(3, player="Wren"))
        assert [row.player for row in boxes(store)] == ["Ash"]
    assert main(["hand", "--player", "Wren", "--on"]) == 0
    with open_store(place, read_form=read_form) as store:
        add(store, *card(4, player="Wren"))
        assert [row.player for row in boxes(store)] == ["Ash", "Wren"]


def test_the_picture_shows_the_kept_boxes(place, tmp_path, capsys):
    picture = tmp_path / "hand.png"
    assert main(["hand", "--player", "Wren", "--picture", str(picture)]) == 0
    assert picture.read_bytes().startswith(b"\x89PNG")
    assert main(["hand", "--player", "Robin", "--picture", str(picture)]) == 2
    assert "nothing of it is kept" in capsys.readouterr().err


@pytest.mark.parametrize("option", ["--erase", "--off", "--on"])
def test_a_change_needs_a_player(place, option, capsys):
    assert main(["hand", option]) == 2
    assert "expected --player ALIAS" in capsys.readouterr().err


def test_hand_without_a_store_says_so(home, capsys):
    assert main(["hand"]) == 2
    assert "expected a store, found none" in capsys.readouterr().err


def test_forget_asks_and_keeps_everything_unless_the_name_is_typed(place, capsys, monkeypatch):
    monkeypatch.setattr("sys.stdin", io.StringIO("yes\n"))
    assert main(["forget", "Wren"]) == 2
    err = capsys.readouterr().err
    assert "Wren: 1 round, 1 card, 0 sets of practice, 0 sessions told by hand, 1 box of" in err
    assert "Nothing was erased" in err
    with open_store(place, read_form=read_form) as store:
        assert store.traces_of("Wren")


def test_forget_erases_the_player_and_nobody_else(place, home, capsys, monkeypatch):
    catalog = Catalog(home / "forms")
    catalog.assign({"7K3MQ2XA": "Wren", "7K3MQ2XB": "Ash"})
    monkeypatch.setattr("sys.stdin", io.StringIO("Wren\n"))
    assert main(["forget", "Wren"]) == 0
    assert "Wren is forgotten: 1 round, 1 card" in capsys.readouterr().out
    with open_store(place, read_form=read_form) as store:
        assert not store.traces_of("Wren")
        assert store.traces_of("Ash").rounds == 1
    assert catalog.cards_of("Wren") == ()
    assert len(catalog.cards_of("Ash")) == 1
    assert b"Wren" not in b"".join(p.read_bytes() for p in home.rglob("*") if p.is_file())


def test_forget_finds_a_name_that_was_answered_and_tells_it_as_json(place, capsys):
    with open_store(place, read_form=read_form) as store:
        add(store, *card(3, player=None))
        store.answer("CARD0003", "player", "Plover", "Wren", RECORDED_AT)
        add(store, *card(4, player="Plover"))
        store.answer("CARD0004", "player", "Ash", "Wren", RECORDED_AT)
    told = {
        "schema": 1,
        "player": "Plover",
        "rounds": 1,
        "cards": 1,
        "practice_sets": 0,
        "hand_boxes": 1,  # printed for Plover, on the card that turned out to be Ash's
        "sessions": 0,
        "aside": 0,
        "named_on": 1,
        "printed_cards": 0,
    }
    for dry_run in (True, False):
        assert main(["forget", "Plover", *(["--dry-run"] if dry_run else ["--yes"]), "--json"]) == 0
        assert json.loads(capsys.readouterr().out) == {**told, "dry_run": dry_run}
    with open_store(place, read_form=read_form) as store:
        assert [head.serial for head in store.heads()] == ["CARD0001", "CARD0002", "CARD0004"]
        assert [round_.player for round_ in store.rounds("Ash")] == ["Ash", "Ash"]
    assert b"Plover" not in place.read_bytes()


def test_forget_knows_when_there_is_nobody(place, capsys):
    assert main(["forget", "Robin", "--yes"]) == 2
    assert "found nobody of that name. `shortpencil rounds` shows the players." in capsys.readouterr().err


def printed_for(home: Path, player: str) -> None:
    """Say that the sample's card was printed for a player."""
    from shortpencil.scan.intake import read_file

    (reading,) = read_file(SAMPLE, Catalog(home / "forms")).readings
    Catalog(home / "forms").assign({str(reading.serial): player})


def test_a_known_players_card_teaches_by_its_sums(home, capsys):
    printed_for(home, "Wren")
    main(["read", str(SAMPLE)])
    with open_store(home / "rounds.sqlite") as store:
        learnt = store.hands()["Wren"]
    assert len(learnt) >= 10
    assert main(["read", "--again", str(SAMPLE)]) in (0, 1)  # with a hand that was learnt from this very card


def test_a_plain_hand_is_not_kept(home, capsys):
    printed_for(home, "Wren")
    main(["read", "--plain-hand", str(SAMPLE)])
    with open_store(home / "rounds.sqlite") as store:
        assert len(store.rounds("Wren")) == 1
        assert boxes(store) == []


def test_nobody_known_is_nobody_learnt(home, capsys):
    main(["read", str(SAMPLE)])
    with open_store(home / "rounds.sqlite") as store:
        assert boxes(store) == []
