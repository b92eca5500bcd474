"""Whose a card is, and how another's name is taken off it. Pure, but for what the store's rows hold.

A card is its round's player's; a sheet that is no round belongs to whoever was answered on it, else to whom
it was printed for. So a card that was printed for one player and answered as another's is the other's.
"""

from __future__ import annotations

import json
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import replace
from datetime import datetime
from typing import Any

from shortpencil.scan.records.composing.answers import Answer, lay_over
from shortpencil.scan.records.recording.kept import answer_from_text, reading_from_text
from shortpencil.scan.records.recording.record_json import practice_from_json, practice_to_json

FIELD = "player"
_NOTHING = "null"

Rows = Mapping[str, list[dict[str, Any]]]


def answered_name(speaks: str | None, answers: Iterable[Answer]) -> str | None:
    """Return the name that stands on a sheet after the answers; `speaks` is the text of its reading."""
    fields = dict(reading_from_text(speaks).fields) if speaks else {}
    found = lay_over(fields, answers).get(FIELD)
    return found.value if found is not None and isinstance(found.value, str) and found.value else None


def owner_of(rows: Rows) -> str | None:
    """Return whose a round that was set aside is, by its rows of all tables."""
    for round_ in rows["rounds"]:
        if round_["player"]:
            return str(round_["player"])
    for card in rows["cards"]:
        best = sorted(rows["readings"], key=lambda row: (row["flags"], row["photo"]))
        speaks = card["speaks"] or (best[0]["text"] if best else None)
        named = None if rows["rounds"] else answered_name(speaks, _answers(rows["answers"]))
        if named or card["player"]:
            return named or str(card["player"])
    return next((str(done["player"]) for done in rows["practice"] if done["player"]), None)


def without_name(rows: Rows, player: str) -> Rows:
    """Return the rows of somebody else's round without a player's name on the card and without their hand."""
    owner = owner_of(rows)
    drop, cleared = names_to_drop(rows["answers"], player)
    return dict(rows) | {
        "cards": [card | {"player": None} if card["player"] == player else card for card in rows["cards"]],
        "answers": [
            row | {"over": _NOTHING} if row["id"] in cleared else row
            for row in rows["answers"]
            if row["id"] not in drop
        ],
        "hand_boxes": [box for box in rows["hand_boxes"] if box["player"] != player],
        "practice": [
            done | {"player": owner, "record": renamed_set(done["record"], owner)}
            if done["player"] == player
            else done
            for done in rows["practice"]
        ],
    }


def renamed_set(record: str, player: str | None) -> str:
    """Return the record of a set of practice with another player."""
    done = replace(practice_from_json(json.loads(record)), player=player)
    return json.dumps(practice_to_json(done), ensure_ascii=False)


def names_to_drop(answers: Sequence[Mapping[str, Any]], player: str) -> tuple[set[int], set[int]]:
    """Return which entries of somebody else's card go with a name, and which lose what they stand over.

    Where the name was once answered and another stands now, only what stands is kept of the name's history.

    Parameters
    ----------
    answers : rows of the table of answers of one card, in the order given
    """
    kept: list[Mapping[str, Any]] = []
    named = [row for row in answers if row["field"] == FIELD]
    if not any(player in (answer_from_text(row["value"])[0], json.loads(row["over"])) for row in named):
        return set(), set()
    for row in named:
        if not answer_from_text(row["value"])[2]:
            kept.append(row)
        elif kept:
            kept.pop()
    stand = [row for row in kept if answer_from_text(row["value"])[0] != player]
    ids = {row["id"] for row in stand}
    return (
        {row["id"] for row in named} - ids,
        {row["id"] for row in stand if json.loads(row["over"]) == player},
    )


def _answers(rows: Iterable[Mapping[str, Any]]) -> tuple[Answer, ...]:
    found = []
    for row in sorted(rows, key=lambda row: int(row["id"])):
        value, how, takes_back = answer_from_text(row["value"])
        at = datetime.fromisoformat(row["at"])
        found.append(Answer(row["field"], value, row["who"], at, None, takes_back, how))
    return tuple(found)
