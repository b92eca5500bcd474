"""The commands that keep things safe: `backup` and `restore` in one file, `check` of what is stored."""

from __future__ import annotations

import argparse
import sys
from pathlib import Path
from typing import TYPE_CHECKING

from shortpencil.scan.cli.stored import add_store_option, existing_store, store_place
from shortpencil.scan.language import _, told

if TYPE_CHECKING:
    from shortpencil.scan.records.backup import Contents

DONE, ATTENTION = 0, 1


def add_to(commands: argparse._SubParsersAction[argparse.ArgumentParser]) -> None:
    """Add the commands `backup`, `restore` and `check`."""
    backup = commands.add_parser(
        "backup",
        help=_("all that is kept, in one file"),
        description=_(
            "Write the store, the forms you printed and whose each printed card is into one new "
            "file, also while another program uses the store. Copying the store's own file instead may "
            "miss the latest cards or tear it."
        ),
        epilog=_("Example: shortpencil backup my-rounds.zip"),
    )
    backup.add_argument(
        "file",
        metavar="FILE",
        type=Path,
        help=_("the file to make; it must not be there yet; - for standard output"),
    )
    add_store_option(backup)
    backup.add_argument("--json", action="store_true", help=_("print what it holds as JSON"))
    backup.set_defaults(run=run_backup)

    restore = commands.add_parser(
        "restore",
        help=_("take everything back from a backup"),
        description=_("Check a backup, then put its store in place of yours and its forms beside yours."),
        epilog=_("Example: shortpencil restore my-rounds.zip"),
    )
    restore.add_argument(
        "file", metavar="FILE", type=Path, help=_("a file that `backup` made; - for standard input")
    )
    add_store_option(restore)
    restore.add_argument(
        "--replace",
        action="store_true",
        help=_("in place of what is stored now, of which a backup is made first"),
    )
    restore.add_argument("--json", action="store_true", help=_("print what it held as JSON"))
    restore.set_defaults(run=run_restore)

    check = commands.add_parser(
        "check",
        help=_("is the store as it was written?"),
        description=_(
            "Look at every row of the store: its checksum, its record, the columns that repeat the "
            "record, the forms. Says nothing is wrong, or all that is."
        ),
        epilog=_("Example: shortpencil check"),
    )
    add_store_option(check)
    check.add_argument("--json", action="store_true", help=_("print what is wrong as JSON"))
    check.set_defaults(run=run_check)


def run_backup(args: argparse.Namespace) -> int:
    """Write a backup."""
    from datetime import UTC, datetime

    from shortpencil.forms.errors import InputError
    from shortpencil.scan.cli.streams import is_dash, write_out
    from shortpencil.scan.leftovers import WORK, folder_for
    from shortpencil.scan.places import forms_folder
    from shortpencil.scan.records.backup import write_backup

    with existing_store(store_place(args)) as store:
        if is_dash(args.file):
            if args.json:
                raise InputError("backup -: expected no --json: standard output takes the backup.")
            with folder_for(WORK) as folder:
                made = write_backup(folder / "backup.zip", store, forms_folder(), datetime.now(UTC))
                write_out((folder / "backup.zip").read_bytes())
            print(f"{contents_said(made)}.", file=sys.stderr)
            return DONE
        made = write_backup(args.file, store, forms_folder(), datetime.now(UTC))
    _tell(args, made, f"{args.file}: {contents_said(made)}.")
    return DONE


def run_restore(args: argparse.Namespace) -> int:
    """Put a backup in place."""
    from shortpencil.scan.cli.streams import given

    with given([args.file], ".zip") as files:
        args.file = files[0]
        return _restore(args)


def _restore(args: argparse.Namespace) -> int:
    from datetime import UTC, datetime

    from shortpencil.forms.errors import RecordError
    from shortpencil.scan.places import forms_folder
    from shortpencil.scan.records.backup import put_in_place

    place = _file_of(args)
    if place is None:
        raise RecordError(
            "restore: expected a store in a file, found one on a server. Its own tools take it back: "
            "pg_restore, see docs/moving.md."
        )
    made, kept = put_in_place(args.file, place, forms_folder(), datetime.now(UTC), replace=args.replace)
    when = f"{made.made_at:%Y-%m-%d %H:%M} UTC"
    says = _("{contents}, as of {when}", contents=contents_said(made), when=when)
    _tell(args, made, f"{place}: {says}.")
    if kept is not None:
        says = _("What was there before is in {file}; delete it when you are sure.", file=kept)
        print(says, file=sys.stderr)
    return DONE


def run_check(args: argparse.Namespace) -> int:
    """Say what is wrong with the store; 1 when anything is."""
    from shortpencil.forms.errors import ForeignStore, OutOfReach, RecordError

    place = _file_of(args)
    try:
        with existing_store(store_place(args)) as store:
            name, size, found = store.name, store.size(), [str(damage) for damage in store.damages()]
    except (OutOfReach, ForeignStore):  # which is no reason to put a backup in its place
        raise
    except RecordError as error:
        if place is None or not place.exists():
            raise
        name, size, found = str(place), (0, 0), [str(error).removeprefix(f"{place}: ")]
    if args.json:
        from shortpencil.scan.cli.streams import print_json
        from shortpencil.scan.records.as_json import checked_json

        print_json(checked_json(found))
    elif found:
        print(
            _("{store}: not as it was written:", store=name), *(f"  {told(one)}" for one in found), sep="\n"
        )
    else:
        counts = {"rounds": _count(size[0], "round"), "cards": _count(size[1], "card")}
        print(_("{store}: {rounds}, {cards}, all as they were written.", store=name, **counts))
    if found:
        says = _(
            "Restore the last backup that is sound: shortpencil restore FILE --replace. Without one: export "
            "what is sound, and read the cards of the rest again."
        )
        print(says, file=sys.stderr)
    elif place is not None and place.with_name(f"{place.name}-wal").exists():
        # Whoever closes a store last takes its log away; here somebody else still has it open.
        says = _(
            "Another program uses it: its latest cards may stand in {name}-wal. Do not copy the file; "
            "shortpencil backup FILE copies all of it.",
            name=place.name,
        )
        print(says, file=sys.stderr)
    return ATTENTION if found else DONE


def _file_of(args: argparse.Namespace) -> Path | None:
    """Return the file of the store; None for one on a server."""
    from shortpencil.scan.records.storing.database import database_url

    url = database_url(store_place(args))
    return Path(url.database) if url.get_backend_name() == "sqlite" and url.database else None


def _tell(args: argparse.Namespace, made: Contents, line: str) -> None:
    if not args.json:
        print(line)
        return
    from shortpencil.scan.cli.streams import print_json
    from shortpencil.scan.records.as_json import contents_json

    print_json(contents_json(made))


def contents_said(made: Contents) -> str:
    """Return what a backup holds, in words."""
    parts = (
        _count(made.rounds, "round"),
        _count(made.cards, "card"),
        _count(made.forms, "form"),
        _("the names on {cards}", cards=_count(made.printed_cards, "printed card")),
    )
    return ", ".join(parts)


def _count(number: int, noun: str) -> str:
    from shortpencil.scan.review.naming import count_said

    return count_said(number, noun, grouped=False)
