"""Rounds by their game: phases of different games are never put into one table.

A card may declare phases of its own. What is told of misses compares the phases of a game with each other, so
that it speaks of the rounds of one game; of the others it says in a sentence that they are left out. Two
cards of the same phases in the same order play one game, however many columns they have for each.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass

from shortpencil.scan.language import _, ngettext
from shortpencil.scan.practice import words
from shortpencil.scan.practice.history import in_order
from shortpencil.scan.practice.model import weights
from shortpencil.scan.records.composing.rounds import Round

#: A round counts half after so many later ones where the game of most recent rounds is found, as in `phases`.
_HALF_LIFE_ROUNDS = 5.0

#: The phases of a game, each with its role, in the order thrown.
Game = tuple[tuple[str, str], ...]


@dataclass(frozen=True, slots=True)
class OfOneGame:
    """Rounds of one game, and what is said of those that were left out (None where none were).

    Where no round is of the game that was asked for, it is said which games there are.
    """

    rounds: tuple[Round, ...]
    left_out: str | None


def game_of(played: Round) -> Game:
    """Return the game of a round."""
    return tuple((phase.id, phase.role) for phase in played.phases)


def of_one_game(rounds: Iterable[Round], phases: Sequence[str] | None = None) -> OfOneGame:
    """Return the rounds of the game that most of the recent ones are of, in the order played.

    Parameters
    ----------
    rounds : of one player
    phases : ids of the phases of the game that is asked for instead
    """
    ordered = in_order(rounds)
    if not ordered:
        return OfOneGame((), None)
    count: dict[Game, float] = {}
    for played, weight in zip(ordered, weights(len(ordered), _HALF_LIFE_ROUNDS).tolist(), strict=True):
        count[game_of(played)] = count.get(game_of(played), 0.0) + weight
    asked = [game for game in count if phases is not None and [name for name, _r in game] == list(phases)]
    if phases is not None and not asked:
        known = "; ".join(words.listing(name for name, _role in game) for game in count)
        return OfOneGame((), _("The games of the rounds that are stored: {games}.", games=known))
    chosen = asked[0] if asked else max(count, key=lambda game: count[game])
    others = [list(game) for game in count if game != chosen]
    return OfOneGame(tuple(p for p in ordered if game_of(p) == chosen), _said(others, ordered))


def _said(others: Sequence[Sequence[tuple[str, str]]], rounds: Sequence[Round]) -> str | None:
    """Say which rounds are left out, since they are of other games."""
    if not others:
        return None
    number = sum(list(game_of(played)) in [list(game) for game in others] for played in rounds)
    named = "; ".join(words.listing(words.PHASE[name] for name, _role in game) for game in others)
    return ngettext(
        "{n} round of another game ({games}) is left out: phases of different games are not compared. "
        "`shortpencil focus --phases {phases}` speaks of it.",
        "{n} rounds of another game ({games}) are left out: phases of different games are not compared. "
        "`shortpencil focus --phases {phases}` speaks of them.",
        number,
        games=named,
        phases=",".join(name for name, _role in others[0]),
    )
