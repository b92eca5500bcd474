"""The command `print`: blank cards to a PDF, and the field map that says where everything lies on them."""

from __future__ import annotations

import argparse
import sys
from pathlib import Path
from typing import TYPE_CHECKING

from shortpencil.scan.language import _, ngettext

if TYPE_CHECKING:
    from shortpencil.forms.form import Form


def add_to(commands: argparse._SubParsersAction[argparse.ArgumentParser]) -> None:
    """Add the command `print`."""
    parser = commands.add_parser(
        "print",
        help=_("print blank cards to a PDF"),
        description=_("Print blank cards to a PDF, each with a serial number of its own."),
        epilog=_("Example: shortpencil print -o card.pdf --paper letter --unit ft --player Wren"),
    )
    parser.add_argument(
        "-o",
        "--output",
        metavar="FILE.pdf",
        type=Path,
        help=_("the PDF to write; - for standard output"),
    )
    parser.add_argument(
        "--preview",
        metavar="FILE.png",
        type=Path,
        help=_("show the card as a picture; without -o nothing else is written and nothing is kept"),
    )
    parser.add_argument(
        "--form",
        default=None,
        help=_(
            "a built-in form (round9, round18, round27, short18, putting-ladder, field-work; in German "
            "round18-de, short18-de, putting-ladder-de, field-work-de) or one of your own (.toml); default: "
            "a round card in your language, of 18 holes or as many as --layout has"
        ),
    )
    parser.add_argument("--paper", choices=("a4", "letter"), default="a4", help=_("sheet size (default: a4)"))
    parser.add_argument(
        "--unit", choices=("m", "ft"), default="m", help=_("unit of putt distances (default: m)")
    )
    parser.add_argument(
        "--hand", choices=("right", "left"), default="right", help=_("throwing hand (default: right)")
    )
    parser.add_argument("--player", default="", help=_("an alias to print on the card"))
    parser.add_argument(
        "--layout",
        metavar="FILE.toml",
        type=Path,
        help=_("a course layout whose pars and lengths are printed in; - for standard input"),
    )
    parser.add_argument(
        "--roster",
        metavar="FILE.csv",
        type=Path,
        help=_("one card for each player of a list (columns player, hand, copies); - for standard input"),
    )
    parser.add_argument(
        "--copies", metavar="N", type=_copies, default=1, help=_("cards per player (default: 1)")
    )
    parser.add_argument(
        "--evening",
        metavar="NAME",
        default="",
        help=_("the evening these cards are for: `shortpencil evening` then says who is missing"),
    )
    parser.add_argument("--map", metavar="FILE.json", type=Path, help=_("also write the field map"))
    parser.add_argument("--json", action="store_true", help=_("say what was printed as JSON"))
    parser.set_defaults(run=run_print)


def _copies(text: str) -> int:
    if not text.isdecimal() or not 1 <= int(text) <= 500:
        raise argparse.ArgumentTypeError(
            _("expected a whole number from 1 to 500, found {text}", text=repr(text))
        )
    return int(text)


def run_print(args: argparse.Namespace) -> int:
    """Print the cards; write catalog entries, field map and PDF, in an order that loses nothing."""
    from shortpencil.scan.cli.streams import given

    named = [path for path in (args.layout, args.roster) if path is not None]
    with given(named) as files:
        found = dict(zip(named, files, strict=True))
        args.layout, args.roster = found.get(args.layout), found.get(args.roster)
        return _print(args)


def _print(args: argparse.Namespace) -> int:
    from shortpencil.forms.catalog import RosterLine, load_course, load_roster
    from shortpencil.forms.errors import InputError
    from shortpencil.forms.field_map import layout_to_json
    from shortpencil.forms.files import write_whole
    from shortpencil.forms.pdf import picture_of
    from shortpencil.scan.cli.streams import print_json
    from shortpencil.scan.printing import drawn, paper_said, printed_json, register

    _refuse_options(args)
    to_stdout = args.output is not None and _is_stdout(args.output)
    course = load_course(args.layout, args.unit) if args.layout else None
    roster = load_roster(args.roster) if args.roster else (RosterLine(args.player, None, 1),)
    if args.roster and args.map and len({line.hand or args.hand for line in roster}) > 1:
        raise InputError(
            "--map writes one field map, but this roster has right- and left-handed cards. Print them apart."
        )
    if args.evening and any(not line.player for line in roster):
        raise InputError("--evening: expected --roster or --player with it, found cards of nobody.")
    printed = drawn(
        roster,
        form=args.form,
        paper=args.paper,
        unit=args.unit,
        hand=args.hand,
        course=course,
        copies=args.copies,
    )
    cards = printed.cards
    if args.preview:
        write_whole(args.preview, picture_of(printed.pdf))
        print(_("{path}: how the card looks.", path=args.preview), file=sys.stderr)
        if args.output is None:
            return 0
    register(printed, args.evening)
    if args.map:
        write_whole(args.map, layout_to_json(next(iter(printed.sheets.values())).layout).encode())
    write_whole(args.output, printed.pdf)
    if args.json:
        print_json(printed_json(args.output, printed))
    else:
        says = ngettext(
            "{path}: {n} card, {paper}. Print it at 100 % or fit to page.",
            "{path}: {n} cards, {paper}. Print it at 100 % or fit to page.",
            len(cards),
            path=args.output,
            paper=paper_said(args.paper),
        )
        print(says, file=sys.stderr if to_stdout else sys.stdout)
    if args.map:
        print(_("{path}: the field map.", path=args.map), file=sys.stderr)
    if mixed := _mixed_units(next(iter(printed.sheets.values())).form):
        print(mixed, file=sys.stderr)
    return 0


def _mixed_units(form: Form) -> str | None:
    """Say where lengths are printed in one unit and putts asked in the other, which nobody may have meant."""
    holes = form.course.holes if form.course else ()
    written = {hole.length_written.split()[-1] for hole in holes if hole.length_written}
    asks = any(field.id.endswith(".distance") for field in form.fields)
    if not written or not asks or form.unit in written:
        return None
    if form.unit == "m":
        return _("Lengths are printed in feet, and putts are asked in metres; in feet, too: --unit ft.")
    return _("Lengths are printed in metres, and putts are asked in feet; in metres, too: --unit m.")


def _refuse_options(args: argparse.Namespace) -> None:
    from shortpencil.forms.errors import InputError

    if args.output is None and args.preview is None:
        raise InputError(
            "-o: expected a PDF to print, or --preview FILE.png to look at a card, found neither."
        )
    if args.output is None and args.map:
        raise InputError("--map: expected -o FILE.pdf with it, found none. Only what is printed needs a map.")
    if args.json and (args.output is None or _is_stdout(args.output)):
        raise InputError(
            "-o: expected a file with --json, found none, or standard output, which the JSON takes."
        )


def _is_stdout(path: Path) -> bool:
    return str(path) in ("-", "/dev/stdout", "/dev/fd/1", "/proc/self/fd/1")
