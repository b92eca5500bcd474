"""The JSON that commands print of what is stored: plain types, nothing left out, the names as published."""

from __future__ import annotations

import json
from datetime import UTC, date, datetime
from pathlib import Path

import pytest

from shortpencil.forms.form import form_from_toml
from shortpencil.scan.reading import CardReading, FieldReading, reading_to_json
from shortpencil.scan.records import as_json
from shortpencil.scan.records.backup import Contents
from shortpencil.scan.records.belonging.forgetting import Traces
from shortpencil.scan.records.belonging.hands import KeptHand
from shortpencil.scan.records.belonging.sheets import Photo, SheetRound
from shortpencil.scan.records.composing.other_sheets import OtherSheet, field_rows
from shortpencil.scan.records.listed import Listed, listed
from shortpencil.scan.records.storing.summary import Summary, Undated
from shortpencil.scan.records.storing.told import ToldSession
from tests.records.cards import ENDS

ROUND = Summary("7K3MQ2XA", date(2026, 5, 29), "Wren", "Birch Hill", "short", 9, 8, 29, 27, 2, (("putt", 3),))
UNDATED = Summary("AAAA2222", None, None, None, None, 9, 9, 30, None, 0)
SHEET = OtherSheet(
    "BBBB2222",
    form_from_toml(ENDS, source="ends.toml"),
    "Ash",
    {"e01.sum": FieldReading(27, 0.99, None)},
    (),
    ("e02.sum",),
)


def test_a_round_in_the_list_says_all_of_its_line() -> None:
    assert as_json.line_json(ROUND) == {
        "id": "7K3MQ2XA",
        "day": "2026-05-29",
        "perhaps_day": None,
        "player": "Wren",
        "course": "Birch Hill",
        "layout": "short",
        "holes": 9,
        "holes_scored": 8,
        "score": 29,
        "over_par": 2,
        "misses": {"putt": 3},
        "waiting": 2,
    }


def test_a_list_says_the_day_that_a_round_may_have_and_sheets_beside_rounds() -> None:
    undated = {"AAAA2222": Undated(date(2026, 6, 1), date(2026, 6, 2))}
    said = as_json.listed_json(Listed((ROUND, UNDATED), (SHEET,), undated))
    assert [(line["day"], line["perhaps_day"]) for line in said["rounds"]] == [
        ("2026-05-29", None),
        (None, "2026-06-01"),
    ]
    assert said["sheets"] == [
        {
            "id": "BBBB2222",
            "form": SHEET.form.name,
            "title": SHEET.form.title,
            "day": None,
            "player": "Ash",
            "answered": 1,
            "waiting": 1,
        }
    ]
    assert json.loads(json.dumps(said)) == said


def test_what_waits_is_counted_by_round_and_sheet() -> None:
    assert Listed((ROUND, UNDATED), (SHEET,)).waits == (2, 1)
    assert Listed().waits == ()


def test_a_store_that_is_not_there_lists_nothing_and_is_not_made(tmp_path: Path) -> None:
    assert listed(tmp_path / "none.sqlite") == Listed()
    assert list(tmp_path.iterdir()) == []


def test_a_sheet_says_its_rounds_and_rows_each_with_its_photos() -> None:
    photo = Photo("a" * 64, "a.jpg", "2026-05-29T18:00:00Z", 1, True)
    sheet = (SheetRound("7K3MQ2XA", (photo,)), SheetRound("BBBB2222", ()), SheetRound("CCCC2222", ()))
    said = as_json.sheet_json(sheet, {"7K3MQ2XA": ROUND}, {}, {"BBBB2222": SHEET})["sheet"]
    assert said[0]["round"] == as_json.line_json(ROUND)
    assert said[0]["photos"] == [
        {
            "sha256": "a" * 64,
            "source": "a.jpg",
            "recorded_at": "2026-05-29T18:00:00Z",
            "questions": 1,
            "speaks": True,
        }
    ]
    assert (said[1]["round"], said[1]["fields"]) == (None, list(field_rows(SHEET)))
    assert said[2] == {"id": "CCCC2222", "round": None, "photos": []}


def test_a_card_without_a_round_has_its_rows_beside_the_reading() -> None:
    reading = CardReading(source="a.jpg", status="read", serial="BBBB2222")
    rows = as_json.rows_of([SHEET], "BBBB2222")
    assert as_json.card_json(reading) == reading_to_json(reading)
    assert as_json.card_json(reading, None, rows) == {**reading_to_json(reading), "rows": rows}
    assert [row["value"] for row in rows if row["status"] == "known"] == ["27"]
    assert as_json.rows_of([SHEET], "CCCC2222") == []


def test_a_hand_is_counted_digit_by_digit_by_who_vouches_for_it() -> None:
    kept = KeptHand("Wren", {3: (1, 2)}, 4, 560, False)
    assert as_json.hands_json([kept]) == {
        "schema": 1,
        "hands": [
            {
                "player": "Wren",
                "digits": {"3": {"person": 1, "sums": 2}},
                "untold": 4,
                "bytes": 560,
                "off": False,
            }
        ],
    }


def test_what_is_forgotten_is_all_that_a_player_left() -> None:
    said = as_json.forgotten_json("Wren", Traces(1, 2, 3, 4, 5, 6, 7), 8, dry_run=True)
    assert said == {
        "schema": 1,
        "player": "Wren",
        "dry_run": True,
        "rounds": 1,
        "cards": 2,
        "practice_sets": 3,
        "hand_boxes": 4,
        "sessions": 5,
        "aside": 6,
        "named_on": 7,
        "printed_cards": 8,
    }


@pytest.mark.parametrize(
    ("said", "expected"),
    [
        (
            as_json.sessions_json([ToldSession(date(2026, 5, 2), "putt", 30, "Wren", 7)]),
            {
                "sessions": [
                    {"number": 7, "day": "2026-05-02", "phase": "putt", "minutes": 30, "player": "Wren"}
                ]
            },
        ),
        (
            as_json.aside_json([("7K3MQ2XA", "29 May 2026", "set aside")]),
            {"rounds": [{"id": "7K3MQ2XA", "says": "29 May 2026", "state": "set aside"}]},
        ),
        (
            as_json.waiting_json("7K3MQ2XA", [("h05.drive", "hole 5, drive", ("clean", "miss"))]),
            {
                "id": "7K3MQ2XA",
                "waiting": [{"place": "h05.drive", "says": "hole 5, drive", "options": ["clean", "miss"]}],
            },
        ),
        (
            as_json.exported_json(2, 1, 3, [Path("a.csv")]),
            {"rounds": 2, "sheets": 1, "waiting": 3, "files": ["a.csv"]},
        ),
        (
            as_json.imported_json({"a.json": {"7K3MQ2XA": "new"}}, dry_run=False),
            {"dry_run": False, "files": [{"file": "a.json", "rounds": {"7K3MQ2XA": "new"}}]},
        ),
        (as_json.checked_json([]), {"sound": True, "damage": []}),
        (as_json.checked_json(["a: torn"]), {"sound": False, "damage": ["a: torn"]}),
        (
            as_json.contents_json(Contents(datetime(2026, 6, 1, tzinfo=UTC), 1, 2, 3, 4)),
            {"made_at": "2026-06-01T00:00:00+00:00", "rounds": 1, "cards": 2, "forms": 3, "printed_cards": 4},
        ),
    ],
)
def test_each_command_prints_its_names(said: dict[str, object], expected: dict[str, object]) -> None:
    assert said == {"schema": 1, **expected}
