"""A coach's page for a group: who works on what, by alias; how many share it, small cells hidden.

Players stand in the order of the alphabet with their own focus and cue, and without any number that would
rank them. Counts over the group leave out cells of fewer than five players.
"""

from __future__ import annotations

from collections.abc import Mapping
from datetime import date

from shortpencil.scan.language import N_, _, ngettext
from shortpencil.scan.practice import words
from shortpencil.scan.practice.causes import level_said
from shortpencil.scan.practice.focus import Focus
from shortpencil.scan.practice.plan import Plan
from shortpencil.scan.practice.players import LEAST_IN_CELL, Group
from shortpencil.scan.practice.web import document, said

DRAWN = N_(
    "Each player's focus comes from their own marks. With few rounds it is drawn to the group, "
    "so that three odd rounds don't send anybody the wrong way."
)


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
        f'<tr><th scope="row">{said(words.whose(alias))}</th>{_rounds(played[alias])}'
        f'<td colspan="4" class="long">{said(why)}</td></tr>'
        for alias, why in group.without.items()
    )
    heads = _heads(
        _("player"), _("rounds"), _("last"), _("focus"), _("how sure"), _("leading cause"), _("one cue")
    )
    cautions = "".join(f"<li>{said(c)}</li>" for c in words.cautions())
    return document(
        _("What the group practises"),
        words.players(players),
        [
            f"<h1>{said(_('What the group practises'))}</h1>",
            f"<p>{said(_(DRAWN))}</p>",
            f"<h2>{said(_('Player by player'))}</h2>",
            f'<div class="scroll" tabindex="0" role="group" aria-label="{said(_("Player by player"))}">'
            f"<table><caption>{said(_('By alias, in the order of the alphabet'))}</caption><thead><tr>"
            f"{heads}</tr></thead><tbody>{rows}{missing}</tbody></table></div>",
            f"<h2>{said(_('Shared by how many'))}</h2>",
            _cells(group),
            f'<div class="cautions"><ul>{cautions}</ul></div>',
        ],
        _("Execution is the player's own judgement; nothing here compares one player with another."),
    )


def _rounds(played: tuple[int, date | None]) -> str:
    count, last = played
    return f"<td>{count}</td><td>{words.day(last) if last else _('no date')}</td>"


def _heads(*heads: str) -> str:
    return "".join(f'<th scope="col">{said(head)}</th>' for head in heads)


def _row(alias: str, focus: Focus, plan: Plan, played: tuple[int, date | None]) -> str:
    lead = focus.causes.leading
    if focus.provisional:
        sure = _("provisional, {rounds}", rounds=words.rounds(focus.rounds))
    else:
        sure = level_said(focus.level)
    if lead is None:
        cause = _("none noted")
    elif focus.causes.unknown_leads:  # nobody is sure of not knowing
        cause = lead.words
    else:
        cause = f"{lead.words} ({level_said(focus.causes.level)})"
    return (
        f'<tr><th scope="row">{said(words.whose(alias))}</th>{_rounds(played)}'
        f"<td>{words.MANY[focus.phase]}</td><td>{said(sure)}</td>"
        f'<td class="long">{said(cause)}</td><td class="long">{said(plan.cue)}</td></tr>'
    )


def _cells(group: Group) -> str:
    shown = [c for c in group.cells if c.players is not None]
    hidden = len(group.cells) - len(shown)
    rows = "".join(
        f"<tr><td>{words.MANY[c.phase]}</td><td>{said(c.cause)}</td>"
        f"<td>{words.players(c.players or 0)}</td></tr>"
        for c in shown
    )
    if rows:
        heads = _heads(_("focus"), _("leading cause"), _("shared by"))
        table = f"<table><thead><tr>{heads}</tr></thead><tbody>{rows}</tbody></table>"
    else:
        none = _("No focus and cause is shared by {players} players or more.", players=LEAST_IN_CELL)
        table = f"<p>{said(none)}</p>"
    if not hidden:
        return table
    if group.hidden_players:
        few = ngettext(
            "{n} combination of fewer than {least} players not shown, {players} together.",
            "{n} combinations of fewer than {least} players not shown, {players} together.",
            hidden,
            least=LEAST_IN_CELL,
            players=words.players(group.hidden_players),
        )
    else:
        few = ngettext(
            "{n} combination of fewer than {least} players not shown.",
            "{n} combinations of fewer than {least} players not shown.",
            hidden,
            least=LEAST_IN_CELL,
        )
    return f"{table}<p>{said(few)}</p>"
