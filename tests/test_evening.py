"""Evenings as programs get them: who is missing, what was printed when, and the JSON of it."""

from __future__ import annotations

from shortpencil.scan.evening import Evening, EveningLine, PrintedCard, evenings_json, evenings_of

PRINTED = {"Thursday 3": [PrintedCard("AAAA2222", "Wren", "2026-05-31"), PrintedCard("BBBB2222", "Ash", "")]}


def test_without_a_store_everybody_is_missing() -> None:
    (evening,) = evenings_of(None, PRINTED)
    assert (evening.name, evening.printed, evening.complete) == ("Thursday 3", "2026-05-31", False)
    assert [(line.player, line.state) for line in evening.lines] == [("Ash", "missing"), ("Wren", "missing")]


def test_an_evening_is_complete_where_everybody_is_read() -> None:
    line = EveningLine("Wren", ["AAAA2222"], ["AAAA2222"])
    evening = Evening("Thursday 3", "2026-05-31", (line,))
    assert evening.complete
    line.waits = 2
    assert not evening.complete
    assert evenings_json([evening]) == {
        "schema": 1,
        "evenings": [
            {
                "name": "Thursday 3",
                "printed": "2026-05-31",
                "players": [
                    {
                        "player": "Wren",
                        "state": "waiting",
                        "cards": ["AAAA2222"],
                        "rounds": ["AAAA2222"],
                        "waiting": 2,
                    }
                ],
            }
        ],
    }


def test_two_rounds_on_two_cards_are_not_double_and_two_on_one_are() -> None:
    assert EveningLine("Wren", ["AAAA2222", "CCCC2222"], ["AAAA2222", "CCCC2222"]).state == "read"
    assert EveningLine("Wren", ["AAAA2222"], ["AAAA2222", "AAAA2222-2"]).state == "double"
