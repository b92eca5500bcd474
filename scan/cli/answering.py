"""The command `answer`: say in the terminal what it is that waits, on a card or in a round from a file."""

from __future__ import annotations

import argparse
import sys
from datetime import UTC, datetime
from typing import TYPE_CHECKING

from shortpencil.scan.cli.stored import add_store_option, existing_store, store_place
from shortpencil.scan.cli.streams import print_json
from shortpencil.scan.language import _, told

if TYPE_CHECKING:
    from shortpencil.scan.records.composing.rounds import Round
    from shortpencil.scan.records.store import Store

DONE, ATTENTION = 0, 1


def add_to(commands: argparse._SubParsersAction[argparse.ArgumentParser]) -> None:
    """Add the command `answer`."""
    answer = commands.add_parser(
        "answer",
        help=_("answer what waits, without the page"),
        description=_(
            "Without a place, list what waits in a round and what it may be. With a place and a "
            "value, enter it; with a place alone, that nothing is there. The page of shortpencil review "
            "shows a card's ink beside the question; a round that came from a file has none to show."
        ),
        epilog=_("Example: shortpencil answer 7K3MQ2XA hole3.score 4"),
    )
    answer.add_argument("serial", metavar="SERIAL", help=_("as `shortpencil rounds` shows it"))
    answer.add_argument("place", metavar="PLACE", nargs="?", help=_("what to answer, as the list names it"))
    value = answer.add_argument(
        "value", metavar="VALUE", nargs="*", help=_("what it is; none: nothing is there")
    )
    value.required = False  # argparse would name it among what is missing where SERIAL alone is
    answer.add_argument("--by", metavar="ALIAS", help=_("who says so (default: you)"))
    add_store_option(answer)
    answer.add_argument("--json", action="store_true", help=_("print what waits as JSON"))
    answer.set_defaults(run=run_answer)


def run_answer(args: argparse.Namespace) -> int:
    """Answer a place, then say what still waits; the exit code says whether anything does."""
    with existing_store(store_place(args)) as store:
        if args.place is not None:
            _enter(store, args, " ".join(args.value))
        waiting = _waiting(store, args.serial)
    if args.json:
        from shortpencil.scan.records.as_json import waiting_json

        print_json(waiting_json(args.serial, waiting))
        return ATTENTION if waiting else DONE
    for name, says, options in waiting:
        print(f"{name}: {told(says)}{' (' + ', '.join(options) + ')' if options else ''}")
    if not waiting:
        print(_("{serial}: nothing waits.", serial=args.serial), file=sys.stderr)
    return ATTENTION if waiting else DONE


def _enter(store: Store, args: argparse.Namespace, text: str) -> None:
    who, now = args.by or "you", datetime.now(UTC)
    if _from_file(store, args.serial) is not None:
        store.answer_in_file(args.serial, args.place, text, who, now)
        return
    from shortpencil.scan.review.questions import parsed

    form = store.card(args.serial).form
    many = any(field.id == args.place and field.type == "choose-many" for field in form.fields)
    texts = text.split() if many else [text] if text else []
    store.answer(args.serial, args.place, parsed(form, args.place, texts), who, now)


def _from_file(store: Store, serial: str) -> Round | None:
    """Return the round of that id where no card stands behind it any more."""
    from shortpencil.forms.errors import RecordError

    round_ = store.round(serial)
    if round_ is None:
        return None
    if serial in dict(store.waiting_in_files()):
        return round_
    try:
        store.card(serial)
    except RecordError:
        return round_
    return None


def _waiting(store: Store, serial: str) -> list[tuple[str, str, tuple[str, ...]]]:
    """Return name, words and choices of what waits."""
    from shortpencil.scan.records.recording.from_file import waiting_places

    round_ = _from_file(store, serial)
    if round_ is not None:
        return [(place.name, place.says, place.options) for place in waiting_places(round_)]
    from shortpencil.scan.review.wording import full_name

    card = store.card(serial)
    found = []
    for name in card.waiting:
        field = card.form.field(name)
        found.append((name, full_name(card.form, name), tuple(option.id for option in field.options)))
    return found
