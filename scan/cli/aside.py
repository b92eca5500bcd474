"""The commands `delete` and `aside`: take single rounds out of everything, and bring them back."""

from __future__ import annotations

import argparse
import sys
from collections.abc import Iterable
from datetime import UTC, datetime
from typing import TYPE_CHECKING

from shortpencil.scan.cli.stored import add_store_option, existing_store, store_place
from shortpencil.scan.cli.streams import print_json
from shortpencil.scan.language import _
from shortpencil.scan.review.naming import aside_said

if TYPE_CHECKING:
    from shortpencil.scan.records.as_json import State

DONE = 0


def add_to(commands: argparse._SubParsersAction[argparse.ArgumentParser]) -> None:
    """Add the commands `delete` and `aside`."""
    remove = commands.add_parser(
        "delete",
        help=_("delete single rounds, with undo until the next start"),
        description=_(
            "Delete rounds with their pictures and answers. Until the next start of read, review or "
            "import they can be brought back; then they are erased. Their photos can be read anew."
        ),
        epilog=_("Example: shortpencil delete 7K3MQ2XA-2"),
    )
    remove.add_argument("serials", metavar="SERIAL", nargs="+", help=_("as `shortpencil rounds` shows them"))
    remove.add_argument("--undo", action="store_true", help=_("bring them back"))
    add_store_option(remove)
    remove.add_argument("--json", action="store_true", help=_("print what was deleted as JSON"))
    remove.set_defaults(run=run_delete)

    aside = commands.add_parser(
        "aside",
        help=_("set single rounds aside, where they count nowhere"),
        description=_(
            "Set rounds aside: they are kept and count nowhere, until they are brought back. Without "
            "a serial, list what is set aside or deleted."
        ),
        epilog=_("Example: shortpencil aside 7K3MQ2XA"),
    )
    aside.add_argument("serials", metavar="SERIAL", nargs="*", help=_("as `shortpencil rounds` shows them"))
    aside.add_argument("--back", action="store_true", help=_("bring them back"))
    add_store_option(aside)
    aside.add_argument("--json", action="store_true", help=_("print what is or was set aside as JSON"))
    aside.set_defaults(run=run_aside)


def run_delete(args: argparse.Namespace) -> int:
    """Delete rounds, or bring deleted ones back."""
    return _put_back(args) if args.undo else _take_out(args, kept=False)


def run_aside(args: argparse.Namespace) -> int:
    """Set rounds aside, bring them back, or list them."""
    from shortpencil.forms.errors import InputError

    if args.serials:
        return _put_back(args) if args.back else _take_out(args, kept=True)
    if args.back:
        raise InputError("aside: expected the serials of rounds with --back, found none.")
    with existing_store(store_place(args)) as store:
        listed = store.aside()
    if args.json:
        _print_json((one.serial, one.says, "set aside" if one.kept else "deleted") for one in listed)
        return DONE
    if not listed:
        print(_("Nothing is deleted or set aside."), file=sys.stderr)
    for one in listed:
        print(f"{one.serial}: {aside_said(one.says)} ({_('set aside') if one.kept else _('deleted')})")
    return DONE


def _print_json(lines: Iterable[tuple[str, str, State]]) -> None:
    from shortpencil.scan.records.as_json import aside_json

    print_json(aside_json(lines))


def _take_out(args: argparse.Namespace, *, kept: bool) -> int:
    told: list[tuple[str, str, State]] = []
    with existing_store(store_place(args)) as store:
        for serial in args.serials:
            found = store.set_aside(serial, datetime.now(UTC), kept=kept)
            told.append((serial, found.says, "set aside" if kept else "deleted"))
            if args.json:
                continue
            named = {"serial": serial, "round": aside_said(found.says)}
            if kept:
                says = _("{serial}: {round}: set aside. Back: shortpencil aside --back {serial}", **named)
                print(says)
            else:
                print(_("{serial}: {round}: deleted. Undo: shortpencil delete --undo {serial}", **named))
    if args.json:
        _print_json(told)
    if not kept:
        print(_("Erased for good at the next start of read, review or import."), file=sys.stderr)
    return DONE


def _put_back(args: argparse.Namespace) -> int:
    with existing_store(store_place(args)) as store:
        for serial in args.serials:
            store.put_back(serial)
            if not args.json:
                print(_("{serial}: back as it was.", serial=serial))
    if args.json:
        _print_json((serial, "", "back") for serial in args.serials)
    return DONE
