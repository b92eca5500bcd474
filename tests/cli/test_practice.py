import argparse
import json

import numpy as np
import pytest

from shortpencil.forms.errors import InputError
from shortpencil.scan.cli import practice
from shortpencil.scan.records.composing.rounds import PracticeSet
from shortpencil.scan.records.store import open_store
from tests.practice.invented import Player, known, rounds_of
from tests.practice.test_games import four_phase_rounds


def focus(*options):
    parser = argparse.ArgumentParser()
    practice.add_to(parser.add_subparsers())
    args = parser.parse_args(["focus", *map(str, options)])
    return args.run(args)


@pytest.fixture
def store(tmp_path):
    place = tmp_path / "rounds.sqlite"
    with open_store(place) as opened:
        opened.add_rounds(rounds_of(Player(), 6, np.random.default_rng(1)))
    return place


def test_focus_prints_one_screen(store, capsys):
    assert focus("--store", store) == 0
    out = capsys.readouterr().out.splitlines()
    assert out[0].startswith("PRACTISE YOUR ")
    assert "6 rounds" in out[0]
    assert len(out) <= 24


def test_focus_as_json(store, capsys):
    assert focus("--store", store, "--json", "--minutes", 45) == 0
    data = json.loads(capsys.readouterr().out)
    assert data["schema"] == 1
    assert data["rounds"] == 6
    assert data["focus"]["phase"] in ("drive", "approach", "putt")
    assert sum(p["p_costs_most"] for p in data["phases"]) == pytest.approx(1, abs=1e-3)
    assert sum(s["minutes"] for s in data["plan"]["steps"]) == 45
    assert data["next"]["phase"] == data["focus"]["phase"]  # no session is known
    assert data["next"]["says"].endswith(f"shortpencil practised {data['next']['phase']} 30")


def test_the_command_that_is_told_names_who_was_asked_for(tmp_path, capsys):
    # where several players share a store, the command without a name is refused
    store = tmp_path / "club.sqlite"
    with open_store(store) as opened:
        for name, seed in (("Wren", 1), ("Robin", 2)):
            opened.add_rounds(rounds_of(Player(name), 3, np.random.default_rng(seed), prefix=name))
    assert focus("--store", store, "--json", "--player", "Wren") == 0
    assert json.loads(capsys.readouterr().out)["next"]["says"].endswith(" 30 --player Wren")


def test_an_empty_store_needs_attention_and_says_what_to_do(tmp_path, capsys):
    assert focus("--store", tmp_path / "new.sqlite") == 1
    got = capsys.readouterr()
    assert got.out == ""
    assert "no round yet" in got.err


def test_several_players_must_be_told_apart(store):
    with open_store(store) as opened:
        opened.add_rounds(rounds_of(Player(name="Wren"), 3, np.random.default_rng(2), prefix="w"))
        opened.add_rounds(rounds_of(Player(name="Teal"), 3, np.random.default_rng(3), prefix="t"))
    with pytest.raises(InputError, match=r"2 players: Teal, Wren.*--player"):
        focus("--store", store)
    with pytest.raises(InputError, match="found Teal, Wren"):
        focus("--store", store, "--player", "Swift")
    assert focus("--store", store, "--player", "Wren") == 0


def test_a_drill_list_of_ones_own(store, tmp_path, capsys):
    from importlib.resources import files

    text = files("shortpencil.scan.practice").joinpath("drills.toml").read_text(encoding="utf-8")
    own = tmp_path / "mine.toml"
    own.write_text(text.replace("throws = 60", "throws = 25"), encoding="utf-8")
    assert focus("--store", store, "--drills", own) == 0
    assert "At most 25 throws" in capsys.readouterr().out
    with pytest.raises(InputError, match=r"nowhere\.toml: cannot be read"):
        focus("--store", store, "--drills", tmp_path / "nowhere.toml")


@pytest.mark.parametrize("wrong", [("--half-life", "0"), ("--half-life", "often"), ("--minutes", "soon")])
def test_wrong_options_are_usage_errors(wrong, capsys):
    with pytest.raises(SystemExit) as stop:
        focus(*wrong)
    assert stop.value.code == 2
    assert wrong[0] in capsys.readouterr().err


def test_too_few_minutes_are_refused(store):
    with pytest.raises(InputError, match="5 to 120 minutes"):
        focus("--store", store, "--minutes", 4)


def test_report_as_a_page_and_as_a_sheet(store, tmp_path, capsys):
    page, sheet = tmp_path / "focus.html", tmp_path / "focus.pdf"
    assert focus("--store", store, "--report", page) == 0
    assert focus("--store", store, "--report", sheet, "--paper", "letter") == 0
    got = capsys.readouterr()
    assert got.out.count("PRACTISE YOUR ") == 2
    assert f"{page}: the report." in got.err
    assert page.read_text(encoding="utf-8").startswith("<!doctype html>")
    assert sheet.read_bytes().startswith(b"%PDF-")


def test_a_report_of_another_kind_is_refused_before_anything_is_read(tmp_path):
    with pytest.raises(InputError, match=r"\.html or \.pdf, found .*focus\.docx"):
        focus("--store", tmp_path / "never.sqlite", "--report", tmp_path / "focus.docx")
    assert list(tmp_path.iterdir()) == []


def test_did_it_help_by_phase_and_day(tmp_path, capsys):
    place = tmp_path / "rounds.sqlite"
    rounds = rounds_of(Player(), 16, np.random.default_rng(4))
    with open_store(place) as opened:
        opened.add_rounds(rounds)
    since = rounds[10].day.isoformat()
    assert focus("--store", place, "--practised", "putt", "--since", since) == 0
    assert "DID IT HELP" in capsys.readouterr().out
    assert focus("--store", place, "--practised", "putt", "--since", since, "--json") == 0
    effect = json.loads(capsys.readouterr().out)["effect"]
    assert (effect["phase"], effect["since"]) == ("putt", since)
    assert (effect["before"]["rounds"], effect["after"]["rounds"], effect["rounds_left_out"]) == (5, 6, 5)
    assert 0 <= effect["p_fell"] <= 1
    with pytest.raises(InputError, match="together"):
        focus("--store", place, "--practised", "putt")
    with pytest.raises(SystemExit):
        focus("--store", place, "--practised", "putt", "--since", "spring")


def test_a_newcomer_is_drawn_to_the_others_of_the_store(tmp_path, capsys):
    place = tmp_path / "club.sqlite"
    with open_store(place) as opened:
        for i in range(6):
            opened.add_rounds(rounds_of(Player(name=f"p{i}"), 8, np.random.default_rng(i), prefix=f"{i}-"))
        opened.add_rounds(
            rounds_of(Player(name="new", miss=(0.8, 0.3, 0.2)), 2, np.random.default_rng(9), prefix="n-")
        )
    assert focus("--store", place, "--player", "new", "--json") == 0
    drive = json.loads(capsys.readouterr().out)["phases"][0]
    seen = drive["recent"]["misses"] / drive["recent"]["marked"]
    assert drive["recent"]["rate"]["middle"] < seen - 0.05


def test_printing_the_practice_card_registers_its_form(store, tmp_path, capsys, monkeypatch):
    from shortpencil.forms.catalog import Catalog

    monkeypatch.setenv("SHORTPENCIL_HOME", str(tmp_path / "home"))
    card = tmp_path / "card.pdf"
    assert focus("--store", store, "--print", card, "--minutes", 20) == 0
    assert card.read_bytes().startswith(b"%PDF-")
    assert "the practice card" in capsys.readouterr().err
    (kept,) = list((tmp_path / "home" / "forms").glob("*.json"))
    layout = Catalog(tmp_path / "home" / "forms").find(kept.stem)
    assert layout.form.record == "practice"
    assert any(f.id.startswith("made.") for f in layout.form.fields)
    with pytest.raises(InputError, match=r"ends in \.pdf"):
        focus("--store", store, "--print", tmp_path / "card.html")


def test_a_name_that_the_sheets_font_cannot_write_costs_nobody_a_sheet(tmp_path, monkeypatch):
    """Typed in review, or imported: it is what the records call the player."""
    monkeypatch.setenv("SHORTPENCIL_HOME", str(tmp_path / "home"))
    place = tmp_path / "rounds.sqlite"
    with open_store(place) as opened:
        opened.add_rounds(rounds_of(Player(name="مرحبا 🥏"), 6, np.random.default_rng(1)))
    for option, file in (("--report", tmp_path / "report.pdf"), ("--print", tmp_path / "card.pdf")):
        assert focus("--store", place, "--player", "مرحبا 🥏", option, file) == 0
        assert file.read_bytes().startswith(b"%PDF-")


def test_a_coachs_page_by_alias_hides_small_cells(tmp_path, capsys):
    place, page = tmp_path / "club.sqlite", tmp_path / "club.html"
    with open_store(place) as opened:
        for i in range(7):
            opened.add_rounds(rounds_of(Player(name=f"bird{i}"), 4, np.random.default_rng(i), prefix=f"{i}-"))
    assert focus("--store", place, "--group", page) == 0
    assert "7 players" in capsys.readouterr().out
    html = page.read_text(encoding="utf-8")
    assert [html.index(f"bird{i}") for i in range(7)] == sorted(html.index(f"bird{i}") for i in range(7))
    assert "fewer than 5 players not shown" in html
    assert "%" not in html.split("<main>")[1].split("</table>")[0]
    assert "Not under trees" in html.replace("\N{NO-BREAK SPACE}", " ")


def test_a_group_without_aliases_needs_attention(store, tmp_path, capsys):
    assert focus("--store", store, "--group", tmp_path / "club.html") == 1
    assert "alias" in capsys.readouterr().err
    with pytest.raises(InputError, match=r"ends in \.html"):
        focus("--store", store, "--group", tmp_path / "club.pdf")


def test_causes_are_called_what_the_players_own_card_calls_them(tmp_path, capsys):
    from datetime import UTC, datetime
    from importlib.resources import files

    from shortpencil.forms.field_map import fingerprint, layout_to_json
    from shortpencil.forms.form import form_from_toml
    from shortpencil.forms.layout import PAPERS, arrange
    from shortpencil.scan.reading import CardReading, FieldReading
    from shortpencil.scan.records.composing.compose import round_from_reading

    text = files("shortpencil.forms.builtin").joinpath("round9.toml").read_text(encoding="utf-8")
    text = text.replace('label = "released late, grip held"', 'label = "hung on too long"')
    layout = arrange(form_from_toml(text, source="own"), PAPERS["a4"]).layout
    fields = {f.id: FieldReading(None, 0.99) for f in layout.form.fields}
    for hole in range(1, 10):
        at = f"h{hole:02d}"
        fields[f"{at}.score"] = FieldReading(3, 0.99)
        fields[f"{at}.drive"] = FieldReading("miss" if hole < 6 else "clean", 0.99)
        fields[f"{at}.approach1"] = FieldReading("clean", 0.99)
        fields[f"{at}.putt1"] = FieldReading("clean", 0.99)
        if hole < 6:
            fields[f"{at}.why"] = FieldReading(2, 0.99)
    fields["worst"] = FieldReading("drive", 0.99)
    name = fingerprint(layout)
    reading = CardReading("p.jpg", "read", serial="ABCDEFGH", form=name, fields=fields, photo_sha256="0" * 64)
    place = tmp_path / "cards.sqlite"
    with open_store(place) as opened:
        round_ = round_from_reading(layout.form, reading, recorded_at=datetime(2030, 5, 1, tzinfo=UTC))
        opened.add_reading(reading, layout.form, round_, form_text=layout_to_json(layout))
    assert focus("--store", place) == 0
    out = capsys.readouterr().out
    assert out.startswith("PRACTISE YOUR DRIVES")
    assert "hung on too long, 5 of 5 notes" in out


def test_rounds_without_a_name_count_as_the_only_players_and_that_is_said(store, capsys):
    with open_store(store) as opened:
        opened.add_rounds(rounds_of(Player(name="Wren"), 3, np.random.default_rng(2), prefix="w"))
    assert focus("--store", store) == 0
    out = " ".join(capsys.readouterr().out.split())
    assert "9 rounds" in out
    assert "6 rounds without a name count as Wren's: no other name is in this store." in out
    assert focus("--store", store, "--player", "Wren") == 0
    out = capsys.readouterr().out
    assert "3 rounds" in out
    assert "without a name" not in out


def test_cards_of_two_games_are_told_apart_and_asked_for_by_their_phases(store, capsys):
    with open_store(store) as opened:
        opened.add_rounds(four_phase_rounds(2, np.random.default_rng(3)))
    assert focus("--store", store, "--json") == 0
    told = json.loads(capsys.readouterr().out)
    assert [p["phase"] for p in told["phases"]] == ["drive", "approach", "putt"]
    assert any("2 rounds of another game (drive, fairway, upshot and putt)" in r for r in told["remarks"])
    assert focus("--store", store, "--json", "--phases", "drive, fairway,upshot,putt") == 0
    told = json.loads(capsys.readouterr().out)
    assert (told["rounds"], told["focus"]["phase"]) == (2, "upshot")
    with pytest.raises(InputError, match=r"drive, putt, found none. The games of the rounds that are stored"):
        focus("--store", store, "--phases", "drive,putt")
    with pytest.raises(InputError, match="--practised: expected one of the phases drive, approach, putt"):
        focus("--store", store, "--practised", "upshot", "--since", "2030-01-01")


def test_a_practice_card_of_general_words_is_a_session_of_its_phase(tmp_path, capsys):
    from datetime import date

    place = tmp_path / "rounds.sqlite"
    made = [
        PracticeSet("P1", row, date(2030, 6, 9), None, drill, known(10), known(6))
        for row, drill in ((1, "own-upshot"), (2, "own-upshot-ten"))
    ]
    with open_store(place) as opened:
        opened.add_rounds(four_phase_rounds(6, np.random.default_rng(3)), made)
    assert focus("--store", place, "--json") == 0
    told = json.loads(capsys.readouterr().out)["next"]
    of = {phase["phase"]: phase["sessions"] for phase in told["phases"]}
    assert of == {"drive": 0, "fairway": 0, "upshot": 1, "putt": 0}
