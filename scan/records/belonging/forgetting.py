"""Forgets one player: every row of the store that is theirs, inside a transaction that the caller holds.

Theirs is what `owners` says, wherever the name came from: printed for, answered in review, or only on the
round. A card of somebody else stays, without the name where that was once printed or answered on it. Names
that sign answers to other players' cards stay: those answers are not this player's to erase.
"""

from __future__ import annotations

import json
from collections.abc import Iterable, Iterator
from dataclasses import astuple, dataclass
from typing import Any

from sqlalchemy import ColumnElement, Connection, and_, delete, func, or_, select, update

from shortpencil.scan.records.belonging import hands, set_aside
from shortpencil.scan.records.belonging.owners import FIELD, answered_name, names_to_drop, renamed_set
from shortpencil.scan.records.storing import tables, told
from shortpencil.scan.records.storing.many import AT_ONCE
from shortpencil.scan.records.storing.statements import answers_of, best_reading, sources_of

#: Of a set of practice: its card is stored. One without came from a file.
_HAS_CARD = select(tables.cards.c.serial).where(tables.cards.c.serial == tables.practice.c.card).exists()


@dataclass(frozen=True, slots=True)
class Traces:
    """How much the store holds of a player."""

    rounds: int
    cards: int  # sheets that are no rounds among them
    practice_sets: int
    hand_boxes: int
    sessions: int = 0
    aside: int = 0  # rounds that were deleted or set aside
    named_on: int = 0  # cards of others, which keep all but the name

    def __bool__(self) -> bool:
        return any(astuple(self))


def traces_of(connection: Connection, player: str) -> Traces:
    """Return how much the store holds of a player."""
    return _traces(connection, player, cards_of(connection, player))


def _traces(connection: Connection, player: str, serials: frozenset[str]) -> Traces:
    rounds, sets, boxes = tables.rounds.c, tables.practice.c, tables.hand_boxes.c
    of_rounds = set(connection.execute(select(rounds.id).where(rounds.player == player)).scalars())
    of_sets = set(_sets(connection, and_(sets.player == player, ~_HAS_CARD)))
    of_boxes = set(connection.execute(select(boxes.id).where(boxes.player == player)).scalars())
    for part in _parts(serials):
        of_rounds |= set(connection.execute(select(rounds.id).where(rounds.id.in_(part))).scalars())
        of_sets |= set(_sets(connection, sets.card.in_(part)))
        of_boxes |= set(connection.execute(select(boxes.id).where(boxes.serial.in_(part))).scalars())
    count = select(func.count()).select_from(told.sessions).where(told.sessions.c.player == player)
    aside, named_aside = set_aside.of_player(connection, player)
    return Traces(
        rounds=len(of_rounds),
        cards=len(serials),
        practice_sets=len(of_sets),
        hand_boxes=len(of_boxes),
        sessions=connection.execute(count).scalar_one(),
        aside=len(aside),
        named_on=len(_named_on(connection, player, serials)) + len(named_aside),
    )


def cards_of(connection: Connection, player: str) -> frozenset[str]:
    """Return the serials of a player's cards, wherever the name came from."""
    cards, rounds = tables.cards.c, tables.rounds.c
    by_round = select(cards.serial).join_from(tables.cards, tables.rounds, cards.serial == rounds.id)
    owner = func.coalesce(func.nullif(rounds.player, ""), cards.player)
    found = set(connection.execute(by_round.where(owner == player)).scalars())
    # A sheet that is no round: the name is in a column, an answer or a reading, and the last word counts.
    said = json.dumps(player, ensure_ascii=False)
    answers, readings = tables.answers.c, tables.readings.c
    query = select(cards.serial).where(
        ~select(rounds.id).where(rounds.id == cards.serial).exists(),
        or_(
            cards.player == player,
            cards.speaks.contains(said, autoescape=True),
            select(answers.id)
            .where(answers.serial == cards.serial, answers.field == FIELD)
            .where(answers.value.contains(said, autoescape=True))
            .exists(),
            select(readings.photo)
            .where(readings.serial == cards.serial, readings.text.contains(said, autoescape=True))
            .exists(),
        ),
    )
    candidates = connection.execute(query).scalars().all()
    found |= {serial for serial in candidates if _owner(connection, serial) == player}
    return frozenset(found)


def forget(connection: Connection, player: str) -> Traces:
    """Remove a player's rounds, cards, practice and hand, and the photos that no other card came from."""
    serials = cards_of(connection, player)
    found = _traces(connection, player, serials)
    photos: set[str] = set()
    for round_ in connection.execute(select(tables.rounds).where(tables.rounds.c.player == player)):
        photos.update(sources_of(round_))  # of a round from a file there are no readings
    readings = select(tables.readings.c.photo, tables.readings.c.text)
    for part in _parts(serials):
        for row in connection.execute(readings.where(tables.readings.c.serial.in_(part))):
            photos.update((row.photo, *json.loads(row.text).get("together", ())))
        for round_ in connection.execute(select(tables.rounds).where(tables.rounds.c.id.in_(part))):
            photos.update(sources_of(round_))
    hands.erase(connection, player)
    hands.switch(connection, player, on=True)
    for table in (told.sessions, tables.asking):
        connection.execute(delete(table).where(table.c.player == player))
    connection.execute(delete(tables.rounds).where(tables.rounds.c.player == player))
    for part in _parts(serials):
        for column in (tables.rounds.c.id, tables.practice.c.card, tables.cards.c.serial):
            connection.execute(delete(column.table).where(column.in_(part)))  # the others go with them
    connection.execute(delete(tables.practice).where(tables.practice.c.player == player, ~_HAS_CARD))
    for serial in _named_on(connection, player, serials):
        _take_name_off(connection, player, serial)
    set_aside.forget_photos(connection, photos)
    set_aside.forget(connection, player)
    return found


def _owner(connection: Connection, serial: str) -> str | None:
    """Return whose a sheet that is no round is."""
    columns = tables.cards.c
    query = select(columns.player, columns.speaks).where(columns.serial == serial)
    card = connection.execute(query).one()
    best = None if card.speaks is not None else best_reading(connection, serial)
    speaks = card.speaks if best is None else best.text
    return answered_name(speaks, answers_of(connection, serial)) or card.player


def _named_on(connection: Connection, player: str, theirs: frozenset[str]) -> list[str]:
    """Return the serials of others' cards that were once printed or answered as a player's."""
    cards, answers, sets = tables.cards.c, tables.answers.c, tables.practice.c
    found = set(connection.execute(select(cards.serial).where(cards.player == player)).scalars())
    found |= {card for card, _ in _sets(connection, and_(sets.player == player, _HAS_CARD))}
    said = json.dumps(player, ensure_ascii=False)
    names = select(answers.serial).where(answers.field == FIELD)
    either = or_(*(column.contains(said, autoescape=True) for column in (answers.value, answers.over)))
    for serial in set(connection.execute(names.where(either)).scalars()) - found:
        if any(names_to_drop(_answer_rows(connection, serial), player)):
            found.add(serial)
    return sorted(found - theirs)


def _take_name_off(connection: Connection, player: str, serial: str) -> None:
    """Leave everything of somebody else's card but a player's name on it."""
    answers, sets = tables.answers.c, tables.practice.c
    drop, cleared = names_to_drop(_answer_rows(connection, serial), player)
    connection.execute(delete(tables.answers).where(answers.id.in_(drop)))
    connection.execute(update(tables.answers).where(answers.id.in_(cleared)).values(over="null"))
    cards = update(tables.cards).where(tables.cards.c.serial == serial, tables.cards.c.player == player)
    connection.execute(cards.values(player=None))
    mine = and_(sets.card == serial, sets.player == player)
    for row in connection.execute(select(sets.place, sets.record).where(mine)).all():
        owner = _owner(connection, serial)
        query = update(tables.practice).where(sets.card == serial, sets.place == row.place)
        connection.execute(query.values(player=owner, record=renamed_set(row.record, owner)))


def _answer_rows(connection: Connection, serial: str) -> list[dict[str, Any]]:
    query = select(tables.answers).where(tables.answers.c.serial == serial).order_by(tables.answers.c.id)
    return [dict(row) for row in connection.execute(query).mappings()]


def _sets(connection: Connection, which: ColumnElement[bool]) -> Iterator[tuple[str, int]]:
    query = select(tables.practice.c.card, tables.practice.c.place).where(which)
    return ((row.card, row.place) for row in connection.execute(query).all())


def _parts(serials: Iterable[str]) -> Iterator[list[str]]:
    """Yield serials in parts that fit into one statement."""
    ordered = sorted(serials)
    return (ordered[start : start + AT_ONCE] for start in range(0, len(ordered), AT_ONCE))
