"""The boxes kept of each player's hand: put, told what they hold, trimmed, given out, erased.

Each function works inside a transaction that its caller holds. A box is kept as the digit network sees it
and nothing else of it: no photo, no place on the sheet but its cell's id. What a box holds is worked out anew
whenever its card changes, so an answer that was taken back teaches no longer.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Mapping
from dataclasses import dataclass

from sqlalchemy import Connection, delete, func, insert, select, update

from shortpencil.scan.reading import Lesson
from shortpencil.scan.records.concluding.lessons import PERSON, SUMS, Vouched
from shortpencil.scan.records.storing import tables

#: Examples kept of each digit: the latest of a person, which are the ones that were doubtful, and the latest
#: of the sums, which are the usual ones. 40 of each of ten digits come to 360 kB.
MOST_OF = {PERSON: 20, SUMS: 20}
#: So many of a player's latest cards keep all their boxes, so that whoever corrects one there teaches it.
KEPT_WHOLE = 2


@dataclass(frozen=True, slots=True)
class KeptHand:
    """What is kept of one player's hand.

    Attributes
    ----------
    by_digit : digit -> (examples by a person, examples by the cards' sums)
    untold : boxes of the latest cards that nothing vouches for yet; they teach nothing
    size_bytes : of all pictures together
    off : nothing is learnt of this hand
    """

    player: str
    by_digit: Mapping[int, tuple[int, int]]
    untold: int
    size_bytes: int
    off: bool


def wanted(connection: Connection, player: str | None, views: Mapping[str, bytes]) -> Mapping[str, bytes]:
    """Return those boxes of a card that are to be kept: none of a player who wants none, or has no name."""
    return views if player is not None and views and not is_off(connection, player) else {}


def put_told(
    connection: Connection,
    serial: str,
    player: str,
    views: Mapping[str, bytes],
    vouched: Mapping[str, Vouched],
) -> None:
    """Keep the boxes of a card that is new, with what they hold, and no more of the hand than is wanted."""
    connection.execute(insert(tables.hand_boxes), _rows(serial, player, views, vouched))
    _trim(connection, player)


def put_views(connection: Connection, serial: str, player: str, views: Mapping[str, bytes]) -> None:
    """Keep the boxes of a card in place of those kept of it before; none of a player who wants none."""
    box = tables.hand_boxes
    connection.execute(delete(box).where(box.c.serial == serial))
    if kept := wanted(connection, player, views):
        connection.execute(insert(box), _rows(serial, player, kept, {}))


def _rows(
    serial: str, player: str, views: Mapping[str, bytes], vouched: Mapping[str, Vouched]
) -> list[dict[str, object]]:
    rows: list[dict[str, object]] = []
    for cell, view in views.items():
        digit, by = vouched.get(cell, (None, None))
        rows.append(
            {"player": player, "serial": serial, "cell": cell, "view": view, "digit": digit, "by": by}
        )
    return rows


def cells_kept(connection: Connection, serial: str) -> set[str]:
    """Return the ids of a card's boxes that are kept."""
    box = tables.hand_boxes.c
    return set(connection.execute(select(box.cell).where(box.serial == serial)).scalars())


def tell(connection: Connection, serial: str, vouched: Mapping[str, Vouched]) -> None:
    """Write what a card's boxes hold, by cell id, and keep no more of its player's hand than is wanted."""
    box = tables.hand_boxes
    for row in connection.execute(
        select(box.c.id, box.c.cell, box.c.digit, box.c.by).where(box.c.serial == serial)
    ):
        digit, by = vouched.get(row.cell, (None, None))
        if (row.digit, row.by) != (digit, by):
            connection.execute(update(box).where(box.c.id == row.id).values(digit=digit, by=by))
    players = select(box.c.player).where(box.c.serial == serial).distinct()
    for player in connection.execute(players).scalars().all():
        _trim(connection, player)


def _trim(connection: Connection, player: str) -> None:
    """Remove what is beyond the limits, oldest first, and boxes that nobody will be asked about any more."""
    box, card = tables.hand_boxes, tables.cards
    query = (
        select(box.c.id, box.c.serial, box.c.cell, box.c.digit, box.c.by, card.c.waiting)
        .join(card, card.c.serial == box.c.serial)
        .where(box.c.player == player)
        .order_by(box.c.id.desc())
    )
    kept: Counter[tuple[int, str]] = Counter()
    cards: dict[str, set[str]] = {}
    gone = []
    for row in connection.execute(query):
        waiting = cards.setdefault(row.serial, set(row.waiting.split()))
        if row.digit is None:
            whole = list(cards).index(row.serial) < KEPT_WHOLE
            if not whole and row.cell.rsplit(".", 1)[0] not in waiting:
                gone.append(row.id)
            continue
        kept[row.digit, row.by] += 1
        if kept[row.digit, row.by] > MOST_OF[row.by]:
            gone.append(row.id)
    for start in range(0, len(gone), 500):
        connection.execute(delete(box).where(box.c.id.in_(gone[start : start + 500])))


def lessons(connection: Connection) -> dict[str, tuple[Lesson, ...]]:
    """Return every player's examples, in the order in which their cards came."""
    box = tables.hand_boxes.c
    query = select(box.player, box.digit, box.view).where(box.digit.is_not(None)).order_by(box.id)
    found: dict[str, list[Lesson]] = {}
    for row in connection.execute(query):
        found.setdefault(row.player, []).append(Lesson(row.digit, bytes(row.view)))
    return {player: tuple(boxes) for player, boxes in found.items()}


def boxes_of(connection: Connection, player: str) -> tuple[tuple[int | None, bytes], ...]:
    """Return every box kept of a player's hand with its digit; None where nothing vouches for one."""
    box = tables.hand_boxes.c
    query = select(box.digit, box.view).where(box.player == player).order_by(box.id)
    return tuple((row.digit, bytes(row.view)) for row in connection.execute(query))


def kept_hands(connection: Connection) -> tuple[KeptHand, ...]:
    """Return what is kept of each player's hand, and who wants nothing kept, by the players' names."""
    box = tables.hand_boxes.c
    size = func.sum(func.length(box.view))
    query = select(box.player, box.digit, box.by, func.count(), size).group_by(box.player, box.digit, box.by)
    digits: dict[str, dict[int, tuple[int, int]]] = {}
    untold: Counter[str] = Counter()
    sizes: Counter[str] = Counter()
    for player, digit, by, count, bytes_ in connection.execute(query):
        of_player = digits.setdefault(player, {})
        sizes[player] += int(bytes_)
        if digit is None:
            untold[player] += count
            continue
        person, sums = of_player.get(digit, (0, 0))
        of_player[digit] = (person + count, sums) if by == PERSON else (person, sums + count)
    off = set(connection.execute(select(tables.hands_off.c.player)).scalars())
    return tuple(
        KeptHand(
            player, dict(sorted(digits.get(player, {}).items())), untold[player], sizes[player], player in off
        )
        for player in sorted(digits.keys() | off)
    )


def erase(connection: Connection, player: str) -> int:
    """Remove every box of a player's hand; return how many there were."""
    box = tables.hand_boxes
    return int(connection.execute(delete(box).where(box.c.player == player)).rowcount)


def is_off(connection: Connection, player: str) -> bool:
    """Say whether nothing of this player's hand is to be kept."""
    off = tables.hands_off.c.player
    return connection.execute(select(off).where(off == player)).scalar() is not None


def switch(connection: Connection, player: str, *, on: bool) -> None:
    """Learn a player's hand from now on, or never again until switched on."""
    off = tables.hands_off
    connection.execute(delete(off).where(off.c.player == player))
    if not on:
        connection.execute(insert(off).values(player=player))
