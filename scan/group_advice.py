"""From a store to a coach's page: what each player of a group should practise, of one game, with a plan."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from collections.abc import Mapping
    from datetime import date

    from shortpencil.scan.advice import Asked
    from shortpencil.scan.practice.plan import DrillList, Plan
    from shortpencil.scan.practice.players import Group
    from shortpencil.scan.records.composing.rounds import Round
    from shortpencil.scan.records.store import Store


@dataclass(frozen=True, slots=True)
class GroupAdvice:
    """What a group practises.

    Attributes
    ----------
    group : of each player what to practise, or why nothing can be named yet
    plans : by alias, for those who have a focus
    played : by alias, how many rounds there are and the day of the last
    left_out : which rounds are left out since they are of another game; None where none are
    """

    group: Group
    plans: Mapping[str, Plan]
    played: Mapping[str, tuple[int, date | None]]
    left_out: str | None

    def page(self) -> str:
        """Return it as an HTML page in the language that is spoken."""
        from shortpencil.scan.practice.group_page import group_page

        return group_page(self.group, self.plans, self.played)


def advise_group(
    store: Store, asked: Asked | None = None, drills: DrillList | None = None
) -> GroupAdvice | None:
    """Work out what every player with an alias should practise; None where no round has one.

    Parameters
    ----------
    store : open
    asked : for how many minutes, how much older rounds count, whether they are under 16; None: as usual
    drills : a list of the coach's own; None: the one that comes with the program
    """
    from shortpencil.scan.advice import Asked, load_drills
    from shortpencil.scan.practice.doubt import possible_histories
    from shortpencil.scan.practice.history import history_of
    from shortpencil.scan.practice.plan import plan_of
    from shortpencil.scan.practice.players import group_of

    asked = asked or Asked()
    drills = load_drills(None) if drills is None else drills
    by_alias: dict[str, list[Round]] = {}
    for r in store.rounds():
        if r.player:
            by_alias.setdefault(r.player, []).append(r)
    if not by_alias:
        return None
    by_alias, left_out = _of_the_main_game(by_alias)
    group = group_of(
        {a: history_of(rounds) for a, rounds in by_alias.items()},
        asked.half_life,
        {a: possible_histories(rounds) for a, rounds in by_alias.items()},
    )
    plans = {
        alias: plan_of(focus, asked.minutes, drills, under_16=asked.under_16)
        for alias, focus in group.foci.items()
    }
    played = {
        alias: (len(rounds), max((r.day for r in rounds if r.day), default=None))
        for alias, rounds in by_alias.items()
    }
    return GroupAdvice(group, plans, played, left_out)


def _of_the_main_game(by_alias: dict[str, list[Round]]) -> tuple[dict[str, list[Round]], str | None]:
    """Return the rounds of the game that most recent rounds of all players are of, and what is left out."""
    from shortpencil.scan.practice.games import of_one_game

    found = of_one_game(r for rounds in by_alias.values() for r in rounds)
    kept = {r.id for r in found.rounds}
    of_game = {alias: [r for r in rounds if r.id in kept] for alias, rounds in by_alias.items()}
    return {alias: rounds for alias, rounds in of_game.items() if rounds}, found.left_out
