"""The commands about a player: `hand` shows and erases their handwriting, `forget` all that is theirs."""

from __future__ import annotations

import argparse
import sys
from pathlib import Path
from typing import TYPE_CHECKING

from shortpencil.scan.cli.stored import add_store_option, existing_store, store_place
from shortpencil.scan.cli.streams import print_json
from shortpencil.scan.language import _
from shortpencil.scan.unfinished import erase_hand, forget_player, known_of

if TYPE_CHECKING:
    from shortpencil.scan.records.belonging.forgetting import Traces
    from shortpencil.scan.records.belonging.hands import KeptHand
    from shortpencil.scan.records.store import Store

DONE = 0


def add_to(commands: argparse._SubParsersAction[argparse.ArgumentParser]) -> None:
    """Add the commands `hand` and `forget`."""
    hand = commands.add_parser(
        "hand",
        help=_("show or erase what is kept of a player's handwriting"),
        description=_(
            "Show how many digits of each player's hand are kept to read their next card with, show "
            "them as a picture, or erase them."
        ),
        epilog=_("Example: shortpencil hand --player Wren --picture hand.png"),
    )
    add_store_option(hand)
    hand.add_argument("--player", metavar="ALIAS", help=_("only the hand of this player"))
    hand.add_argument("--picture", metavar="FILE.png", type=Path, help=_("write the kept boxes as a picture"))
    change = hand.add_mutually_exclusive_group()
    change.add_argument("--erase", action="store_true", help=_("erase the hand; later cards teach it anew"))
    change.add_argument(
        "--off", action="store_true", help=_("erase the hand, and keep nothing of it from now on")
    )
    change.add_argument("--on", action="store_true", help=_("learn the hand again from the cards to come"))
    hand.add_argument("--json", action="store_true", help=_("print it as JSON"))
    hand.set_defaults(run=run_hand)

    forget = commands.add_parser(
        "forget",
        help=_("erase everything that is kept of a player"),
        description=_(
            "Erase a player's rounds, cards, pictures, answers, practice and hand from the store, "
            "and forget which cards were printed for them. Nothing brings them back; export the rounds "
            "first if somebody wants them."
        ),
        epilog=_("Example: shortpencil forget Wren"),
    )
    forget.add_argument("player", metavar="ALIAS", help=_("whom to forget"))
    add_store_option(forget)
    forget.add_argument("--yes", action="store_true", help=_("do not ask before"))
    forget.add_argument(
        "--dry-run", action="store_true", help=_("say what would be erased, but erase nothing")
    )
    forget.add_argument("--json", action="store_true", help=_("print what was erased as JSON"))
    forget.set_defaults(run=run_forget)


def run_hand(args: argparse.Namespace) -> int:
    """Show, picture, erase or switch what is kept of hands."""
    from shortpencil.forms.errors import InputError

    if args.player is None and (args.picture or args.erase or args.off or args.on):
        raise InputError("hand: expected --player ALIAS with --picture, --erase, --off or --on, found none.")
    with existing_store(store_place(args)) as store:
        if args.picture:
            _draw(store, args.player, args.picture)
        if args.erase or args.off:
            count = erase_hand(store, args.player, store_place(args), off=args.off)
            named = {"player": args.player, "boxes": _count(count, "box")}
            if args.off:
                says = _("{player}: {boxes} erased. Nothing of it is kept from now on.", **named)
            else:
                says = _("{player}: {boxes} erased.", **named)
            print(says, file=sys.stderr)
        if args.on:
            store.learn_hand(args.player)
            says = _("{player}: the cards to come teach this hand again.", player=args.player)
            print(says, file=sys.stderr)
        found = [kept for kept in store.kept_hands() if args.player in (None, kept.player)]
    if args.json:
        from shortpencil.scan.records.as_json import hands_json

        print_json(hands_json(found))
        return DONE
    for kept in found:
        print("\n".join(_lines(kept)))
    if not found and not (args.erase or args.off or args.on):
        learnt = _(
            "A hand is learnt from cards that were printed with --player, once their sums come out right or "
            "you answered what was asked."
        )
        nothing = (
            _("Nothing of {player} is kept.", player=args.player) if args.player else _("Nothing is kept.")
        )
        print(f"{nothing} {learnt}", file=sys.stderr)
    return DONE


def run_forget(args: argparse.Namespace) -> int:
    """Say what would go, ask, erase."""
    from shortpencil.scan.places import forms_folder

    with existing_store(store_place(args)) as store:
        found, printed = known_of(store, forms_folder(), args.player)
        if args.dry_run:
            _tell_forgotten(args, found, printed, f"{_traces(found)}, {_count(printed, 'printed card')}")
            return DONE
        says = _(
            "{traces} in {store}, {cards} known to be theirs",
            traces=_traces(found),
            store=store.name,
            cards=_count(printed, "printed card"),
        )
        if not args.yes:
            print(f"{args.player}: {says}.", file=sys.stderr)
            _ask(args.player)
        forget_player(store, forms_folder(), args.player, store_place(args))
    _tell_forgotten(args, found, printed, says)
    print(_("Copies that were exported or backed up are beyond this program's reach."), file=sys.stderr)
    return DONE


def traces_said(found: Traces, printed: int) -> str:
    """Return what is kept of a player, in words, printed cards known to be theirs too; "" for nothing."""
    parts = [says for count, says in _counted(found) if count]
    if printed:
        parts.append(_("{cards} known to be theirs", cards=_count(printed, "printed card")))
    return ", ".join(parts)


def _tell_forgotten(args: argparse.Namespace, found: Traces, printed: int, says: str) -> None:
    """Say what was erased, or in a dry run what would be."""
    if args.json:
        from shortpencil.scan.records.as_json import forgotten_json

        print_json(forgotten_json(args.player, found, printed, dry_run=args.dry_run))
    elif args.dry_run:
        print(_("{player} would be forgotten: {traces}.", player=args.player, traces=says))
    else:
        print(_("{player} is forgotten: {traces}.", player=args.player, traces=says))
    if args.dry_run:
        print(_("That was a dry run: nothing was erased."), file=sys.stderr)


def _ask(player: str) -> None:
    """Go on only when the person types the name."""
    from shortpencil.forms.errors import InputError

    write = getattr(sys.stderr, "urgent", sys.stderr.write)  # seen also with --quiet
    write(_("Type {player} to erase all that, anything else to keep it:", player=player) + " ")
    sys.stderr.flush()
    typed = sys.stdin.readline()
    if not typed.endswith("\n"):
        write("\n")  # nobody is there to type, or ended the line otherwise
    if typed.strip() != player:
        raise InputError(
            f"forget: expected {player} typed to be sure, found {typed.strip()!r}. Nothing was erased; "
            "--yes asks nothing."
        )


def _traces(found: Traces) -> str:
    always = 5  # the rest is said only where there is any
    return ", ".join(says for at, (count, says) in enumerate(_counted(found)) if count or at < always)


def _counted(found: Traces) -> list[tuple[int, str]]:
    """Return how much of each kind is kept of a player, with its words."""
    return [
        (found.rounds, _count(found.rounds, "round")),
        (found.cards, _count(found.cards, "card")),
        (found.practice_sets, _count(found.practice_sets, "set of practice")),
        (found.sessions, _count(found.sessions, "session told by hand")),
        (found.hand_boxes, _count(found.hand_boxes, "box of handwriting")),
        (found.aside, _("{n} deleted or set aside", n=found.aside)),
        (found.named_on, _("the name on {cards} of others", cards=_count(found.named_on, "card"))),
    ]


def _draw(store: Store, player: str, path: Path) -> None:
    from shortpencil.forms.errors import InputError
    from shortpencil.forms.files import write_whole
    from shortpencil.scan.vision.seeing.own_hand import picture_of

    boxes = store.hand_boxes(player)
    if not boxes:
        raise InputError(f"{player}: expected a hand to draw, found that nothing of it is kept.")
    write_whole(path, picture_of(boxes))
    print(_("{path}: what is kept of {player}'s hand.", path=path, player=player), file=sys.stderr)


def _lines(kept: KeptHand) -> list[str]:
    told = sum(person + sums for person, sums in kept.by_digit.values())
    if not told and not kept.untold:
        if kept.off:
            return [_("{player}: nothing is kept, as you wished.", player=kept.player)]
        return [_("{player}: nothing is kept.", player=kept.player)]
    digits = "  ".join(f"{digit}: {person + sums}" for digit, (person, sums) in kept.by_digit.items())
    by_person = sum(person for person, _ in kept.by_digit.values())
    untold = _(", {n} more that nobody vouches for", n=kept.untold) if kept.untold else ""
    says = _(
        "{player}: {digits} ({by_person} by an answer, {by_sums} by the card's sums)",
        player=kept.player,
        digits=_count(told, "digit"),
        by_person=by_person,
        by_sums=told - by_person,
    )
    lines = [f"{says}{untold}, {kept.size_bytes / 1000:.0f} kB"]
    return [*lines, f"    {digits}"] if digits else lines


def _count(number: int, noun: str) -> str:
    from shortpencil.scan.review.naming import count_said

    return count_said(number, noun, grouped=False)
