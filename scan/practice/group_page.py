"""A coach's page for a group: who works on what, by alias; how many share it, small cells hidden.

Players stand in the order of the alphabet with their own focus and cue, and without any number that would
rank them. Counts over the group leave out cells of fewer than five players.
"""

from __future__ import annotations

from collections.abc import Mapping
from datetime import date

from shortpencil.scan.practice import words
from shortpencil.scan.practice.focus import Focus
from shortpencil.scan.practice.plan import Plan
from shortpencil.scan.practice.players import LEAST_IN_CELL, Group
from shortpencil.scan.practice.web import document, said


def group_page(group: Group, plans: Mapping[str, Plan], played: Mapping[str, tuple[int, date | None]]) -> str:
    """Return the page as text.

    Parameters
    ----------
    plans : by alias, for those who have a focus
    played : by alias, how many rounds there are and the day of the last
    """
    players = len(group.foci) + len(group.without)
    rows = "".join(_row(alias, focus, plans[alias], played[alias]) for alias, focus in group.foci.items())
    missing = "".join(
        f'<tr><th scope="row">{said(alias)}</th>{_rounds(played[alias])}'
        f'<td colspan="4" class="long">{said(why)}</td></tr>'
        for alias, why in group.without.items()
    )
    cautions = "".join(f"<li>{said(c)}</li>" for c in words.CAUTIONS)
    return document(
        "What the group practises",
        words.count(players, "player"),
        [
            "<h1>What the group practises</h1>",
            "<p>Each player's focus comes from their own marks. With few rounds it is drawn to the group, "
            "so that three odd rounds don't send anybody the wrong way.</p>",
            "<h2>Player by player</h2>",
            '<div class="scroll" tabindex="0" role="group" aria-label="Player by player">'
            "<table><caption>By alias, in the order of the alphabet</caption><thead><tr>"
            '<th scope="col">player</th><th scope="col">rounds</th><th scope="col">last</th>'
            '<th scope="col">focus</th><th scope="col">how sure</th>'
            '<th scope="col">leading cause</th><th scope="col">one cue</th></tr></thead>'
            f"<tbody>{rows}{missing}</tbody></table></div>",
            "<h2>Shared by how many</h2>",
            _cells(group),
            f'<div class="cautions"><ul>{cautions}</ul></div>',
        ],
        "Execution is the player's own judgement; nothing here compares one player with another.",
    )


def _rounds(played: tuple[int, date | None]) -> str:
    count, last = played
    return f"<td>{count}</td><td>{words.day(last) if last else 'no date'}</td>"


def _row(alias: str, focus: Focus, plan: Plan, played: tuple[int, date | None]) -> str:
    lead = focus.causes.leading
    sure = f"provisional, {words.count(focus.rounds, 'round')}" if focus.provisional else focus.level
    cause = "none noted" if lead is None else f"{lead.words} ({focus.causes.level})"
    return (
        f'<tr><th scope="row">{said(alias)}</th>{_rounds(played)}'
        f"<td>{words.MANY[focus.phase]}</td><td>{said(sure)}</td>"
        f'<td class="long">{said(cause)}</td><td class="long">{said(plan.cue)}</td></tr>'
    )


def _cells(group: Group) -> str:
    shown = [c for c in group.cells if c.players is not None]
    hidden = len(group.cells) - len(shown)
    rows = "".join(
        f"<tr><td>{words.MANY[c.phase]}</td><td>{said(c.cause)}</td>"
        f"<td>{words.count(c.players or 0, 'player')}</td></tr>"
        for c in shown
    )
    table = (
        '<table><thead><tr><th scope="col">focus</th><th scope="col">leading cause</th>'
        f'<th scope="col">shared by</th></tr></thead><tbody>{rows}</tbody></table>'
        if rows
        else f"<p>No focus and cause is shared by {LEAST_IN_CELL} players or more.</p>"
    )
    if not hidden:
        return table
    more = f", {words.count(group.hidden_players, 'player')} together" if group.hidden_players else ""
    few = f"{words.count(hidden, 'combination')} of fewer than {LEAST_IN_CELL} players not shown{more}."
    return f"{table}<p>{few}</p>"
