"""The commands about what is stored: `rounds` lists it, `export` writes it out, `import` takes it back."""

from __future__ import annotations

import argparse
import sys
from collections.abc import Sequence
from pathlib import Path
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from scan.records.importing import Imported
    from scan.records.store import Store
    from scan.records.summary import Summary

DONE, ATTENTION, WRONG = 0, 1, 2

LONGEST_NAME = 28  # of player and course in the list; the rest is cut, so that a line stays a line


def add_to(commands: argparse._SubParsersAction[argparse.ArgumentParser]) -> None:
    """Add the commands `rounds`, `export` and `import`."""
    rounds = commands.add_parser(
        "rounds",
        help="list the stored rounds, a line each",
        description="List the stored rounds, oldest first: score, misses of each phase, what waits for you.",
        epilog="Example: shortpencil rounds --player Wren",
    )
    rounds.add_argument(
        "serial", metavar="SERIAL", nargs="?", help="show every round of this sheet, and the photos of each"
    )
    add_store_option(rounds)
    rounds.add_argument("--player", metavar="ALIAS", help="only the rounds of this player")
    rounds.add_argument("--json", action="store_true", help="print the list as JSON")
    rounds.set_defaults(run=run_rounds)

    export = commands.add_parser(
        "export",
        help="write the rounds as tables and as JSON",
        description="Write rounds, holes, throws and practice as CSV with a Table Schema, and whole rounds "
        "as JSON. What waits for you is left empty, with a status.",
        epilog="Example: shortpencil export my-rounds",
    )
    export.add_argument("folder", metavar="DIR", type=Path, help="the folder to write to; made if need be")
    add_store_option(export)
    export.add_argument("--player", metavar="ALIAS", help="only the rounds of this player")
    export.add_argument("--parquet", action="store_true", help="also as Parquet (needs pyarrow)")
    export.add_argument("--json", action="store_true", help="print the names of the files as JSON")
    export.set_defaults(run=run_export)

    import_ = commands.add_parser(
        "import",
        help="take rounds back from an export, or rounds typed by hand",
        description="Take rounds from a .json file or from the folder of an export. A file counts as a "
        "whole or not at all; everything wrong with it is said at once, by row and field.",
        epilog="Example: shortpencil import my-rounds/rounds.json",
    )
    import_.add_argument(
        "files", metavar="FILE|DIR", nargs="+", type=Path, help="rounds.json, or a folder of CSV"
    )
    add_store_option(import_)
    import_.add_argument("--by", metavar="ALIAS", help="who typed these rounds by hand")
    import_.add_argument(
        "--replace", action="store_true", help="put them in place of stored rounds that differ"
    )
    import_.add_argument("--json", action="store_true", help="print what became of each round as JSON")
    import_.set_defaults(run=run_import)


def add_store_option(parser: argparse.ArgumentParser) -> None:
    """Add the option that names the store."""
    parser.add_argument("--store", metavar="FILE|URL", help="the store; default: the one in your data folder")


def store_place(args: argparse.Namespace) -> str | Path:
    """Return where the store is: a file, or the URL of a database."""
    from scan.cli.places import default_store

    place = args.store or default_store()
    return place if "://" in str(place) else Path(place)


def run_rounds(args: argparse.Namespace) -> int:
    """List the rounds; the exit code says whether something waits."""
    place = store_place(args)
    if args.serial is not None:
        return _show_sheet(args, place)
    lines = [line for line in _summaries(place) if args.player in (None, line.player)]
    if args.json:
        import json

        print(json.dumps({"schema": 1, "rounds": [_line_json(line) for line in lines]}, ensure_ascii=False))
    elif lines:
        print("\n".join(table_of(lines)))
    else:
        whose = f" of {args.player}" if args.player else ""
        print(
            f"No rounds{whose} in {_shown(place)} yet. Print a card with `shortpencil print -o card.pdf`, "
            "mark it after your round, then `shortpencil read` a photo of it.",
            file=sys.stderr,
        )
    waits = [line for line in lines if line.waits]
    if waits:
        fields = sum(line.waits for line in waits)
        print(
            f"{_count(fields, 'field')} of {_count(len(waits), 'round')} "
            f"{'waits' if fields == 1 else 'wait'} for you: shortpencil review",
            file=sys.stderr,
        )
    return ATTENTION if waits else DONE


def _show_sheet(args: argparse.Namespace, place: str | Path) -> int:
    """Show the rounds of one sheet with their photos; the exit code says whether something waits."""
    from dataclasses import asdict

    from forms.errors import InputError

    with existing_store(place) as store:
        sheet = store.sheet(args.serial)
        lines = {line.id: line for line in store.summaries()}
    if not sheet:
        raise InputError(
            f"{args.serial}: expected the serial of a round or a card, found none of that name in "
            f"{_shown(place)}."
        )
    if args.json:
        import json

        shown = [
            {
                "id": one.serial,
                "round": _line_json(lines[one.serial]) if one.serial in lines else None,
                "photos": [asdict(photo) for photo in one.photos],
            }
            for one in sheet
        ]
        print(json.dumps({"schema": 1, "sheet": shown}, ensure_ascii=False))
    for one in sheet if not args.json else ():
        line = lines.get(one.serial)
        print(f"{one.serial}: {_said(line) if line else 'no round'}")
        for photo in one.photos:
            asks = f"asks {photo.questions}" if photo.questions else "asks nothing"
            when = photo.recorded_at[:16].replace("T", " ") + " UTC" if photo.recorded_at else "no time"
            print(
                f"    {photo.source}, read {when}, {asks}{'' if photo.speaks else ', does not speak for it'}"
            )
        if not one.photos:
            print("    from a file")
    return ATTENTION if any(lines[one.serial].waits for one in sheet if one.serial in lines) else DONE


def _said(line: Summary) -> str:
    day = line.played_on.isoformat() if line.played_on else "no date"
    waits = f", {_count(line.waits, 'field')} waiting" if line.waits else ""
    return f"{day}, {line.holes_scored} holes, score {line.score}{waits}"


def run_export(args: argparse.Namespace) -> int:
    """Write the export; the exit code says whether something in it waits and so is empty."""
    from scan.records.export import write_export

    with existing_store(store_place(args)) as store:
        rounds, practice = store.rounds(player=args.player), store.practice()
    if args.player is not None:
        practice = tuple(done for done in practice if done.player == args.player)
    files = write_export(args.folder, rounds, practice, parquet=args.parquet)
    waits = sum(len(round_.waiting) for round_ in rounds)
    if args.json:
        import json

        found = {"schema": 1, "rounds": len(rounds), "waiting": waits, "files": [str(path) for path in files]}
        print(json.dumps(found, ensure_ascii=False))
    else:
        print(f"{args.folder}: {_count(len(rounds), 'round')} in {', '.join(path.name for path in files)}.")
    if waits:
        print(
            f"{_count(waits, 'field')} {'waits' if waits == 1 else 'wait'} for you and "
            f"{'is' if waits == 1 else 'are'} left empty: shortpencil review",
            file=sys.stderr,
        )
    return ATTENTION if waits else DONE


def run_import(args: argparse.Namespace) -> int:
    """Check every file, then store those that are right, each in one transaction."""
    from forms.errors import ShortpencilError
    from scan.records.store import open_store

    taken = _checked(args.files, args.by)
    outcomes: dict[str, dict[str, str]] = {}
    worst = DONE if len(taken) == len(args.files) else WRONG
    if taken:
        with open_store(store_place(args)) as store:
            store.empty_aside()
            for path, found in taken:
                try:
                    outcomes[str(path)] = store.add_rounds(found.rounds, found.practice, replace=args.replace)
                except ShortpencilError as error:
                    print(f"shortpencil: {path}: {error}", file=sys.stderr)
                    worst = WRONG
                    continue
                _say_findings(found)
                if any(round_.waiting for round_ in found.rounds):
                    worst = max(worst, ATTENTION)
    if args.json:
        import json

        files = [{"file": path, "rounds": rounds} for path, rounds in outcomes.items()]
        print(json.dumps({"schema": 1, "files": files}, ensure_ascii=False))
    else:
        for name, rounds in outcomes.items():
            kinds = list(rounds.values())
            parts = [f"{kinds.count(kind)} {kind}" for kind in dict.fromkeys(kinds)]
            print(f"{name}: {_count(len(rounds), 'round')}{': ' if parts else ''}{', '.join(parts)}.")
    return worst


def table_of(lines: Sequence[Summary]) -> list[str]:
    """Return the list as lines of text: a head and a line a round, in columns."""
    head = ("date", "player", "course", "holes", "score", "par", "drive", "approach", "putt", "waits", "card")
    rows = [
        (
            line.played_on.isoformat() if line.played_on else "no date",
            _cut(line.player or ""),
            _cut(", ".join(part for part in (line.course, line.layout) if part)),
            str(line.holes) if line.holes == line.holes_scored else f"{line.holes_scored} of {line.holes}",
            str(line.score) if line.holes_scored else "",
            "" if line.over_par is None else f"{line.over_par:+d}" if line.over_par else "0",
            str(line.misses_drive),
            str(line.misses_approach),
            str(line.misses_putt),
            str(line.waits or ""),
            line.id,
        )
        for line in lines
    ]
    # A column that is empty everywhere says nothing; date, score and misses always stand.
    shown = [at for at, name in enumerate(head) if name in _ALWAYS or any(row[at] for row in rows)]
    widths = {at: max(_width(row[at]) for row in (head, *rows)) for at in shown}
    misses = [at for at in shown if head[at] in ("drive", "approach", "putt")]
    before = sum(widths[at] + 2 for at in shown if at < misses[0])
    span = sum(widths[at] + 2 for at in misses) - 2
    over = " " * before + "misses".center(span, "-") if span else ""
    table = [
        "  ".join(_padded(row[at], widths[at], left=head[at] in _TEXTS) for at in shown).rstrip()
        for row in (head, *rows)
    ]
    return [over, *table]


_ALWAYS = ("date", "holes", "score", "drive", "approach", "putt")
_TEXTS = ("date", "player", "course", "card")


def _cut(text: str) -> str:
    shown = " ".join(text.split())
    return shown if len(shown) <= LONGEST_NAME else shown[: LONGEST_NAME - 1] + "…"


def _width(text: str) -> int:
    """Return how many columns of a terminal a text takes; letters of East Asia take two, accents none."""
    if text.isascii():
        return len(text)
    from unicodedata import combining, east_asian_width

    return sum(0 if combining(sign) else 2 if east_asian_width(sign) in "WF" else 1 for sign in text)


def _padded(text: str, width: int, *, left: bool) -> str:
    space = " " * (width - _width(text))
    return text + space if left else space + text


def _summaries(place: str | Path) -> Sequence[Summary]:
    """Return the lines of all rounds, the quick way where that serves; none where there is no store yet."""
    if isinstance(place, Path):
        from scan.records.listing import quick_summaries

        if not place.exists():
            return ()
        lines = quick_summaries(place)
        if lines is not None:
            return lines
    from scan.records.store import open_store

    with open_store(place) as store:
        return store.summaries()


def existing_store(place: str | Path) -> Store:
    """Return the store at a place; RecordError where there is none, instead of a new one."""
    from forms.errors import RecordError
    from scan.records.store import open_store

    if isinstance(place, Path) and not place.exists():
        raise RecordError(
            f"{place}: expected a store, found none. Name it with --store, or read a card first."
        )
    return open_store(place)


def _checked(files: Sequence[Path], by: str | None) -> list[tuple[Path, Imported]]:
    """Return what the files hold that are right; say of the others all that is wrong with them."""
    from datetime import UTC, datetime

    from forms.errors import InputError
    from scan.records.importing import read_rounds

    taken = []
    for path in files:
        try:
            # A file says by its own time when it was typed, so that taking it twice changes nothing.
            at = datetime.fromtimestamp(path.stat().st_mtime, UTC) if by and path.exists() else None
            taken.append((path, read_rounds(path, by=by, at=at)))
        except InputError as error:
            print(f"shortpencil: {error}", file=sys.stderr)
    return taken


def _say_findings(found: Imported) -> None:
    from scan.records.validate import FINE, validate

    for round_ in found.rounds:
        for finding in validate(round_):
            if finding.level != FINE:
                day = round_.played_on.known or "no date"
                print(f"  note  {round_.id} ({day}): {finding.says}", file=sys.stderr)


def _line_json(line: Summary) -> dict[str, Any]:
    return {
        "id": line.id,
        "day": line.played_on.isoformat() if line.played_on else None,
        "player": line.player,
        "course": line.course,
        "layout": line.layout,
        "holes": line.holes,
        "holes_scored": line.holes_scored,
        "score": line.score,
        "over_par": line.over_par,
        "misses": {
            "drive": line.misses_drive,
            "approach": line.misses_approach,
            "putt": line.misses_putt,
        },
        "waiting": line.waits,
    }


def _shown(place: str | Path) -> str:
    """Return a place for a message; a password in a URL stays out of it."""
    if isinstance(place, Path):
        return str(place)
    from scan.records.database import database_url, store_name

    return store_name(database_url(place))


def _count(number: int, noun: str) -> str:
    return f"{number} {noun}" if number == 1 else f"{number} {noun}s"
