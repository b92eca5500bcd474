"""The command `evening`: who of a club evening has brought a card back, who is missing, double or waiting."""

from __future__ import annotations

import argparse
import sys
from collections.abc import Sequence
from pathlib import Path
from typing import TYPE_CHECKING

from shortpencil.scan.cli.stored import add_store_option, existing_store, store_place
from shortpencil.scan.cli.streams import print_json
from shortpencil.scan.language import _

if TYPE_CHECKING:
    from shortpencil.scan.evening import Evening, EveningLine

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
    from shortpencil.scan.evening import evenings_json, evenings_of, printed_evenings
    from shortpencil.scan.places import forms_folder

    printed = printed_evenings(forms_folder())
    if args.name is not None and args.name not in printed:
        known = ", ".join(printed) or "none"
        raise InputError(f"{args.name}: expected an evening that cards were printed for, found {known}.")
    wanted = {name: cards for name, cards in printed.items() if args.name in (None, name)}
    place = store_place(args)
    if args.store is None and isinstance(place, Path) and not place.exists():
        # Cards are printed before the first photo is read: then everybody is missing. A store named
        # with --store must be there, or a slip in its name would call a whole club missing.
        found = evenings_of(None, wanted)
    else:
        with existing_store(place) as store:
            found = evenings_of(store, wanted)
    if args.json:
        print_json(evenings_json(found))
    elif args.name is None:
        _print_all(found)
    else:
        _print_one(found[0].lines)
    return DONE if args.name is None or all(evening.complete for evening in found) else ATTENTION


def _print_all(found: Sequence[Evening]) -> None:
    from shortpencil.scan.review.chores import evening_said

    if not found:
        says = _("No cards were printed for an evening yet: shortpencil print --roster FILE --evening NAME")
        print(says, file=sys.stderr)
    for evening in found:
        print(f"{evening.printed}  {evening.name}: {evening_said(evening.lines)}")


def _print_one(lines: Sequence[EveningLine]) -> None:
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
