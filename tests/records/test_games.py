"""Rounds of other games than drive, approach and putt: composed, kept, listed, exported, brought back."""

from __future__ import annotations

import csv
import io
import json
import re
import sqlite3
from collections import Counter
from collections.abc import Mapping
from contextlib import closing
from dataclasses import replace
from datetime import UTC, datetime
from pathlib import Path

import pytest
from frictionless import Package

from shortpencil.forms.catalog import builtin_names, load_form
from shortpencil.forms.errors import InputError
from shortpencil.forms.field_map import layout_from_json, layout_to_json
from shortpencil.forms.form import USUAL_PHASES, Form, form_from_toml
from shortpencil.forms.layout import PAPERS, arrange
from shortpencil.scan.cli.stored import table_of
from shortpencil.scan.practice.worth import worth_of
from shortpencil.scan.reading import CardReading, FieldReading
from shortpencil.scan.records.composing.compose import round_from_reading
from shortpencil.scan.records.composing.doubt import possible_rounds
from shortpencil.scan.records.composing.places import field_of_place
from shortpencil.scan.records.composing.rounds import Round
from shortpencil.scan.records.composing.tidy import doubtful_values
from shortpencil.scan.records.composing.validate import validate
from shortpencil.scan.records.exchanging.export import exported_files
from shortpencil.scan.records.exchanging.importing import read_rounds
from shortpencil.scan.records.recording.record_json import round_from_json, round_to_json
from shortpencil.scan.records.recording.schema import problems_of
from shortpencil.scan.records.recording.typed import filled_out
from shortpencil.scan.records.store import open_store
from shortpencil.scan.records.storing.listing import quick_summaries

WHEN = datetime(2026, 6, 14, 18, 0, tzinfo=UTC)
HEAD = {"date.day": 14, "date.month": 6, "date.year": 26}
#: Two holes on the card of four phases that docs/forms.md shows.
MARKS = {
    **HEAD,
    "h01.score": 5, "h01.drive": "clean", "h01.fairway1": "miss", "h01.upshot1": "miss", "h01.putt1": "miss",
    "h01.putt2": "clean",
    "h02.score": 3, "h02.drive": "clean", "h02.fairway1": "clean", "h02.putt1": "clean",
    "tally.drive": 0, "tally.fairway": 1, "tally.upshot": 1, "tally.putt": 1, "total": 8,
}  # fmt: skip


def documented(title: str = "four-phases") -> Form:
    """Return a form that docs/forms.md shows, two rows of it, as it comes back from its field map."""
    text = Path(__file__, "../../../docs/forms.md").resolve().read_text("utf-8")
    (toml,) = (t for t in re.findall(r"```toml\n(.*?)```", text, re.DOTALL) if f'name = "{title}"' in t)
    toml = toml.replace("count = 9", "count = 2").replace("group = 3", "group = 2")
    layout = arrange(form_from_toml(toml, source="own.toml"), PAPERS["a4"]).layout
    return layout_from_json(layout_to_json(layout)).form


FORM = documented()


def card(marks: Mapping[str, object], form: Form = FORM, photo: str = "c") -> CardReading:
    fields = {f.id: FieldReading(marks.get(f.id), 0.999) for f in form.fields}  # type: ignore[arg-type]
    return CardReading("p.jpg", "read", serial="8JSHR4Z5", form="F", fields=fields, photo_sha256=photo * 64)


def played(**changed: object) -> Round:
    marks = MARKS | {name.replace("_", "."): value for name, value in changed.items()}
    return round_from_reading(FORM, card(marks), recorded_at=WHEN, player="Wren")


def test_a_card_of_four_phases_is_a_round_of_four_phases() -> None:
    round_ = played()
    assert round_.phase_ids == ("drive", "fairway", "upshot", "putt")
    assert [(t.phase, t.execution.known, t.holed) for t in round_.holes[0].throws] == [
        ("drive", "clean", False),
        ("fairway", "miss", False),
        ("upshot", "miss", False),
        ("putt", "miss", False),
        ("putt", "clean", True),
    ]
    assert {phase: tally.known for phase, tally in round_.tallies.items()} == {
        "drive": 0, "fairway": 1, "upshot": 1, "putt": 1,
    }  # fmt: skip
    assert validate(round_, FORM) == ()
    assert problems_of(round_to_json(round_)) == []
    assert round_from_json(round_to_json(round_)) == round_


def test_its_sums_and_its_order_are_held_against_its_own_phases() -> None:
    found = {f.rule: f for f in validate(played(tally_fairway=2, h02_upshot1="miss"), FORM)}
    assert found["tally.fairway"].says == "you counted 2 missed fairway throws, the marks show 1"
    assert "h01.fairway1.miss" in found["tally.fairway"].cells
    assert found["tally.upshot"].says == "you counted 1 missed upshot throw, the marks show 2"
    assert found["throws"].says == "hole 2: 4 throws marked, but the score says 3"


def test_a_game_without_a_phase_for_the_tee_or_the_target() -> None:
    toml = Path("forms/builtin/round9.toml").read_text("utf-8")
    start, end = toml.index("[[phases]]"), toml.index("[rows]")
    one = '[[phases]]\nid = "all"\nrole = "between"\ncolumns = ["drive", "approach1", "approach2"]\n\n'
    form = form_from_toml(toml[:start] + one + toml[end:], source="one.toml")
    marks = {**HEAD, "h01.score": 3, "h01.drive": "miss", "h01.approach1": "clean", "h01.putt1": "miss"}
    round_ = round_from_reading(form, card(marks, form), recorded_at=WHEN)
    assert [(t.phase, t.holed) for t in round_.holes[0].throws] == [("all", False), ("all", None)]
    assert round_.extra["h01.putt1"].known == "miss", "a column of no phase is kept as it was answered"
    assert not [f for f in validate(round_, form) if f.rule == "first-throw"]


def test_the_built_in_cards_declare_the_usual_game() -> None:
    names = [name for name in builtin_names() if load_form(name).record == "round"]
    assert len(names) == 6
    for name in names:
        assert "[[phases]]" in Path(f"forms/builtin/{name}.toml").read_text("utf-8")
        assert load_form(name).phases == USUAL_PHASES


def test_columns_may_have_names_in_any_language() -> None:
    changed = tuple(replace(p, columns=tuple(f"würfe_{c}" for c in p.columns)) for p in played().phases)
    assert problems_of(round_to_json(replace(played(), phases=changed))) == []
    spaced = (replace(changed[0], columns=("a b",)), *changed[1:])
    assert problems_of(round_to_json(replace(played(), phases=spaced)))


@pytest.mark.parametrize(
    "change",
    [
        ('"id": "fairway"', '"id": "Fairway Long"'),
        ('"id": "fairway"', '"id": "drive"'),
        ('"role": "target"', '"role": "tee"'),
        ('"fairway1"', '"drive"'),
    ],
)
def test_a_field_map_with_phases_that_no_form_may_have_is_refused(change: tuple[str, str]) -> None:
    data = json.loads(layout_to_json(arrange(FORM_OF_TOML, PAPERS["a4"]).layout))
    text = json.dumps(data["phases"])
    assert change[0] in text
    data["phases"] = json.loads(text.replace(*change))
    with pytest.raises(InputError, match="phases: expected phases in the order thrown"):
        layout_from_json(json.dumps(data))


def test_a_place_of_the_record_names_the_column_of_the_card() -> None:
    round_ = played()
    assert field_of_place(round_, "holes/1/throws/4/execution") == "h01.putt1"
    assert field_of_place(round_, "holes/1/maybe/fairway2/execution") == "h01.fairway2"


def test_a_throw_of_another_phase_than_declared_is_refused() -> None:
    data = round_to_json(played())
    data["holes"][0]["throws"][1]["phase"] = "approach"
    data["tallies"]["approach"] = data["tallies"].pop("putt")
    says = 'expected one of "drive", "fairway", "upshot", "putt"; found "approach"'
    assert [str(problem) for problem in problems_of(data)] == [
        f"tallies: {says}",
        f"hole 1, throw 2, phase: {says}",
    ]
    data["phases"] = [data["phases"][3], *data["phases"][1:]]
    assert any("of its own" in str(problem) for problem in problems_of(data))
    assert any("in the order thrown" in str(problem) for problem in problems_of(data))


def test_a_round_typed_by_hand_may_say_its_phases() -> None:
    typed = {
        "phases": [{"id": "long", "role": "tee"}, {"id": "short", "role": "target"}],
        "holes": [
            {
                "score": 2,
                "throws": [
                    {"phase": "long", "execution": "miss"},
                    {"phase": "short", "execution": "clean"},
                ],
            }
        ],
    }
    record = filled_out(typed)
    assert problems_of(record) == []
    round_ = round_from_json(record)
    assert [phase.columns for phase in round_.phases] == [("long",), ("short1", "short2", "short3")]
    assert [throw.holed for throw in round_.holes[0].throws] == [False, True]


# -- the store ---------------------------------------------------------------------------------------------


def usual_round() -> Round:
    form = load_form("round9")
    marks = {**HEAD, "h01.score": 3, "h01.drive": "miss", "h01.approach1": "clean", "h01.putt1": "clean"}
    return replace(round_from_reading(form, card(marks, form), recorded_at=WHEN, player="Wren"), id="R9")


def test_misses_are_a_row_for_each_phase(tmp_path: Path) -> None:
    with open_store(tmp_path / "rounds.sqlite") as store:
        store.add_reading(
            card(MARKS), FORM, played(), form_text=layout_to_json(arrange(FORM_OF_TOML, PAPERS["a4"]).layout)
        )
        store.add_rounds([usual_round()])
        lines = {line.id: line.misses for line in store.summaries()}
        assert lines == {
            "8JSHR4Z5": (("drive", 0), ("fairway", 1), ("upshot", 1), ("putt", 1)),
            "R9": (("drive", 1), ("approach", 0), ("putt", 0)),
        }
        assert store.damages() == ()
        assert store.other_sheets() == ()
        assert quick_summaries(tmp_path / "rounds.sqlite") == store.summaries()
        shown = table_of(store.summaries())
        assert [line.split()[4:8] for line in shown if line.startswith("date")] == [
            ["drive", "fairway", "upshot", "putt"],
            ["drive", "appr.", "putt", "card"],
        ]
        store.answer("8JSHR4Z5", "h01.upshot1", "clean", who="Wren", when=WHEN)
        assert dict(store.summaries()[0].misses)["upshot"] == 0
        store.set_aside("8JSHR4Z5", WHEN, kept=True)
        store.put_back("8JSHR4Z5")
        assert store.damages() == ()
    with closing(sqlite3.connect(tmp_path / "rounds.sqlite")) as direct, direct:
        direct.execute("PRAGMA foreign_keys = ON")
        with pytest.raises(sqlite3.IntegrityError, match="FOREIGN KEY"):
            direct.execute("INSERT INTO throws (round, hole, throw, phase) VALUES ('R9', 1, 9, 'upshot')")


FORM_OF_TOML = form_from_toml(
    next(
        toml
        for toml in re.findall(
            r"```toml\n(.*?)```",
            Path(__file__, "../../../docs/forms.md").resolve().read_text("utf-8"),
            re.DOTALL,
        )
        if 'name = "four-phases"' in toml
    )
    .replace("count = 9", "count = 2")
    .replace("group = 3", "group = 2"),
    source="own.toml",
)


def test_a_store_of_version_7_gets_its_misses_as_rows_and_rounds_of_other_games(tmp_path: Path) -> None:
    """The file was made by version 7: a round, one set aside, and a card of four phases without a round."""
    path = tmp_path / "rounds.sqlite"
    old = sqlite3.connect(path)
    old.executescript(Path(__file__).with_name("store_version_7.sql").read_text("utf-8"))
    (record,) = old.execute("SELECT record FROM rounds").fetchone()
    old.close()
    with open_store(path) as store:
        assert [line.misses for line in store.summaries() if line.id == "ABCD2345"] == [
            (("drive", 1), ("approach", 0), ("putt", 1))
        ]
        other, usual = store.rounds()
        assert usual.id == "ABCD2345"
        assert other.phase_ids == ("drive", "fairway", "upshot", "putt")
        assert other.recorded_at is None, "an earlier version kept no time with it"
        assert other.player == "Wren"
        assert store.other_sheets() == ()
        store.put_back("WXYZ2345")
        assert dict({line.id: line.misses for line in store.summaries()}["WXYZ2345"])["putt"] == 0
        assert store.damages() == ()
    with closing(sqlite3.connect(path)) as now, now:
        assert now.execute("SELECT record FROM rounds WHERE id = 'ABCD2345'").fetchone() == (record,)
        tallies = now.execute("SELECT phase, tally FROM misses WHERE round = 'ABCD2345' ORDER BY place")
        assert tallies.fetchall() == [("drive", 1), ("approach", None), ("putt", None)]
        left = {name for (name,) in now.execute("SELECT name FROM sqlite_master WHERE type != 'trigger'")}
        assert not [name for name in left if name.startswith("old_")]
        assert {"ix_rounds_played_on", "ix_rounds_player"} <= left


# -- exports -----------------------------------------------------------------------------------------------


def test_an_export_has_the_phases_of_other_games_as_a_table_and_takes_them_back(tmp_path: Path) -> None:
    rounds = (replace(played(), player="Wren"), usual_round())
    files = exported_files(rounds)
    for name, content in files.items():
        (tmp_path / name).write_bytes(content)
    report = Package(str(tmp_path / "datapackage.json")).validate()
    assert report.valid, report.flatten(["message"])
    rows = list(csv.DictReader(io.StringIO(files["phases.csv"].decode())))
    assert [(row["phase"], row["role"], row["misses"], row["tally"]) for row in rows] == [
        ("drive", "tee", "0", "0"),
        ("fairway", "between", "1", "1"),
        ("upshot", "between", "1", "1"),
        ("putt", "target", "1", "1"),
    ]
    head = next(csv.DictReader(io.StringIO(files["rounds.csv"].decode())))
    assert (head["misses_drive"], head["misses_approach"], head["misses_putt"]) == ("0", "", "1")
    assert read_rounds(tmp_path / "rounds.json").rounds == rounds
    back = read_rounds(tmp_path).rounds
    assert [round_.phases for round_ in back] == [FORM.phases, USUAL_PHASES]
    assert exported_files(back)["phases.csv"] == files["phases.csv"]
    assert exported_files(back)["throws.csv"] == files["throws.csv"]


def test_an_export_of_the_usual_game_has_no_such_table_and_no_such_word(tmp_path: Path) -> None:
    files = exported_files([usual_round()])
    assert "phases.csv" not in files
    assert b'"phases"' not in files["rounds.json"]
    for name, content in files.items():
        (tmp_path / name).write_bytes(content)
    throws = tmp_path / "throws.csv"
    throws.write_text(throws.read_text("utf-8").replace(",approach,", ",upshot,"), "utf-8")
    with pytest.raises(InputError, match="phase: expected one of drive, approach, putt; found 'upshot'"):
        read_rounds(tmp_path)


def test_doubt_over_other_phases_is_weighed_by_their_own_sums() -> None:
    unsure = {
        "h02.upshot1": FieldReading(None, 0.7, "unclear", alternatives=(("miss", 0.3),)),
        "tally.upshot": FieldReading(1, 0.6, "unclear", alternatives=((2, 0.4),)),
    }
    seen = card(MARKS)
    round_ = round_from_reading(FORM, replace(seen, fields={**seen.fields, **unsure}), recorded_at=WHEN)
    assert [field_of_place(round_, place) for place, _ in doubtful_values(round_)] == [
        "tally.upshot",
        "h02.upshot1",
    ]
    drawn = Counter(
        (sum(t.phase == "upshot" for h in one.holes for t in h.throws), one.tallies["upshot"].value)
        for one in possible_rounds(round_, 40)
    )
    # Two marks go with a count of two, one with one: the card's promise ties them.
    assert drawn[1, 1] + drawn[2, 2] >= 32
    assert "your missed upshot throws" in worth_of(round_)[0].says
