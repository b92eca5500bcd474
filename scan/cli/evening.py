"""The command `evening`: who of a club evening has brought a card back, who is missing, double or waiting."""

from __future__ import annotations

import argparse
import sys
from pathlib import Path
from typing import TYPE_CHECKING, Any

from shortpencil.scan.cli.stored import add_store_option, existing_store, store_place
from shortpencil.scan.language import _

if TYPE_CHECKING:
    from shortpencil.scan.records.store import Store
    from shortpencil.scan.review.chores import EveningLine, PrintedCard

DONE, ATTENTION = 0, 1


def add_to(commands: argparse._SubParsersAction[argparse.ArgumentParser]) -> None:
    """Add the command `evening`."""
    parser = commands.add_parser(
        "evening",
        help=_("who of a club evening has brought a card back"),
        description=_(
            "Say of each player that cards were printed for (print --roster FILE --evening NAME) "
            "whether a round came back, whose card is missing, double or waits for an answer. Without a "
            "name, list all evenings, a line each."
        ),
        epilog=_('Example: shortpencil evening "Thursday 3"'),
    )
    parser.add_argument(
        "name", metavar="NAME", nargs="?", help=_("the evening, as it was called when printing")
    )
    add_store_option(parser)
    parser.add_argument("--json", action="store_true", help=_("print it as JSON"))
    parser.set_defaults(run=run_evening)


def run_evening(args: argparse.Namespace) -> int:
    """List the evenings, or the players of one; 1 where somebody is missing, double or waiting."""
    from shortpencil.forms.errors import InputError
    from shortpencil.scan.review.chores import evening_lines

    printed = printed_evenings()
    if args.name is not None and args.name not in printed:
        known = ", ".join(printed) or "none"
        raise InputError(f"{args.name}: expected an evening that cards were printed for, found {known}.")
    wanted = {name: cards for name, cards in printed.items() if args.name in (None, name)}
    place = store_place(args)
    if args.store is None and isinstance(place, Path) and not place.exists():
        # Cards are printed before the first photo is read: then everybody is missing. A store named
        # with --store must be there, or a slip in its name would call a whole club missing.
        found = {name: evening_lines(cards, (), {}) for name, cards in wanted.items()}
    else:
        with existing_store(place) as store:
            found = {name: lines_of(store, cards) for name, cards in wanted.items()}
    if args.json:
        import json

        told = [_json(name, lines, printed[name]) for name, lines in found.items()]
        print(json.dumps({"schema": 1, "evenings": told}, ensure_ascii=False))
    elif args.name is None:
        _print_all(found, printed)
    else:
        _print_one(found[args.name])
    open_ = any(line.state != "read" for lines in found.values() for line in lines)
    return ATTENTION if open_ and args.name is not None else DONE


def printed_evenings() -> dict[str, list[PrintedCard]]:
    """Return the cards printed for each evening, the latest first."""
    from shortpencil.forms.catalog import Catalog
    from shortpencil.scan.places import forms_folder
    from shortpencil.scan.review.chores import PrintedCard

    return {
        name: [PrintedCard(*card) for card in cards]
        for name, cards in Catalog(forms_folder()).evenings().items()
    }


def lines_of(store: Store, cards: list[PrintedCard]) -> list[EveningLine]:
    """Return the players of an evening with what came back of their cards."""
    from shortpencil.scan.review.chores import evening_lines

    waits = {serial: len(fields) for serial, fields in store.waiting_fields()}
    return evening_lines(cards, [line.id for line in store.summaries()], waits)


def _print_all(found: dict[str, list[EveningLine]], printed: dict[str, list[PrintedCard]]) -> None:
    from shortpencil.scan.review.chores import evening_said

    if not found:
        says = _("No cards were printed for an evening yet: shortpencil print --roster FILE --evening NAME")
        print(says, file=sys.stderr)
    for name, lines in found.items():
        print(f"{printed[name][0].day}  {name}: {evening_said(lines)}")


def _print_one(lines: list[EveningLine]) -> None:
    from shortpencil.scan.review.chores import evening_said

    width = max(len(line.player) for line in lines)
    states = {
        "missing": _("missing"),
        "double": _("double"),
        "waiting": _("waiting"),
        "read": _("read"),
    }
    for line in lines:
        rounds = ", ".join(line.rounds) or _("no card yet")
        waits = ", " + _("{n} waiting", n=line.waits) if line.waits else ""
        print(f"{states[line.state]:<8}  {line.player:<{width}}  {rounds}{waits}")
    print(f"{evening_said(lines)}.", file=sys.stderr)


def _json(name: str, lines: list[EveningLine], cards: list[PrintedCard]) -> dict[str, Any]:
    players = [
        {
            "player": line.player,
            "state": line.state,
            "cards": line.cards,
            "rounds": line.rounds,
            "waiting": line.waits,
        }
        for line in lines
    ]
    return {"name": name, "printed": cards[0].day, "players": players}
