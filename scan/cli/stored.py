"""The commands about what is stored: `rounds` lists it, `export` writes it out, `import` takes it back."""

from __future__ import annotations

import argparse
import sys
from collections.abc import Collection, Iterable, Iterator, Mapping, Sequence
from pathlib import Path
from typing import TYPE_CHECKING

from shortpencil.scan.cli.command_line import COLUMNS
from shortpencil.scan.cli.progress import counted
from shortpencil.scan.cli.streams import print_json
from shortpencil.scan.language import N_, _, ngettext, told
from shortpencil.scan.language import listed as in_a_row

if TYPE_CHECKING:
    from contextlib import ExitStack

    from shortpencil.scan.records.composing.other_sheets import OtherSheet
    from shortpencil.scan.records.composing.rounds import Round
    from shortpencil.scan.records.exchanging.importing import ByRound, Imported
    from shortpencil.scan.records.store import Store
    from shortpencil.scan.records.storing.summary import Summary, Undated
    from shortpencil.scan.records.storing.turns import Patience

DONE, ATTENTION, WRONG = 0, 1, 2

STORE_HELP = N_("the store (default: $SHORTPENCIL_STORE, else the one in your data folder)")


def add_to(commands: argparse._SubParsersAction[argparse.ArgumentParser]) -> None:
    """Add the commands `rounds`, `export` and `import`."""
    rounds = commands.add_parser(
        "rounds",
        help=_("list the stored rounds, a line each"),
        description=_(
            "List the stored rounds, oldest first: score, misses of each phase, what waits for you."
        ),
        epilog=_("Example: shortpencil rounds --player Wren"),
    )
    rounds.add_argument(
        "serial",
        metavar="SERIAL",
        nargs="?",
        help=_("show every round of this sheet, and the photos of each"),
    )
    add_store_option(rounds)
    rounds.add_argument("--player", metavar="ALIAS", help=_("only the rounds of this player"))
    rounds.add_argument("--json", action="store_true", help=_("print the list as JSON"))
    rounds.set_defaults(run=run_rounds)

    export = commands.add_parser(
        "export",
        help=_("write the rounds as tables and as JSON"),
        description=_(
            "Write rounds, holes, throws and practice as CSV with a Table Schema, and whole rounds "
            "as JSON. What waits for you is left empty, with a status."
        ),
        epilog=_("Example: shortpencil export my-rounds"),
    )
    export.add_argument(
        "folder",
        metavar="DIR",
        type=Path,
        help=_("the folder to write to, made if need be; - for the whole rounds as JSON to standard output"),
    )
    add_store_option(export)
    export.add_argument("--player", metavar="ALIAS", help=_("only the rounds of this player"))
    export.add_argument("--parquet", action="store_true", help=_("also as Parquet (needs pyarrow)"))
    export.add_argument("--json", action="store_true", help=_("print the names of the files as JSON"))
    export.set_defaults(run=run_export)

    import_ = commands.add_parser(
        "import",
        help=_("take rounds back from an export, or rounds typed by hand"),
        description=_(
            "Take rounds from a .json file or from the folder of an export. A file counts as a "
            "whole or not at all; everything wrong with it is said at once, by row and field."
        ),
        epilog=_("Example: shortpencil import my-rounds/rounds.json"),
    )
    import_.add_argument(
        "files",
        metavar="FILE|DIR",
        nargs="+",
        type=Path,
        help=_("rounds.json, or a folder of CSV; - for JSON by standard input"),
    )
    add_store_option(import_)
    import_.add_argument("--by", metavar="ALIAS", help=_("who typed these rounds by hand"))
    import_.add_argument(
        "--replace", action="store_true", help=_("put them in place of stored rounds that differ")
    )
    import_.add_argument(
        "--dry-run", action="store_true", help=_("say what would be stored, but store nothing")
    )
    import_.add_argument("--json", action="store_true", help=_("print what became of each round as JSON"))
    import_.set_defaults(run=run_import)


def add_store_option(parser: argparse.ArgumentParser) -> None:
    """Add the option that names the store."""
    parser.add_argument("--store", metavar="FILE|URL", help=_(STORE_HELP))


def add_picture_option(parser: argparse.ArgumentParser) -> None:
    """Add the option that leaves the picture of the whole card out of the store."""
    parser.add_argument(
        "--no-card-picture",
        action="store_true",
        help=_(
            "keep no picture of the whole card, nearly half of what it takes in the store; those of what is "
            "asked and of words are kept"
        ),
    )


def store_place(args: argparse.Namespace) -> str | Path:
    """Return where the store is: a file, or the URL of a database."""
    from shortpencil.scan.places import default_store

    place = args.store or default_store()
    return place if "://" in str(place) else Path(place)


def run_rounds(args: argparse.Namespace) -> int:
    """List the rounds; the exit code says whether something waits."""
    from shortpencil.scan.records.listed import listed

    place = store_place(args)
    if args.serial is not None:
        return _show_sheet(args, place)
    found = listed(place, args.player)
    if args.json:
        from shortpencil.scan.records.as_json import listed_json

        print_json(listed_json(found))
    elif found.rounds or found.sheets:
        lines = table_of(found.rounds, found.undated) if found.rounds else []
        print("\n".join([*lines, *table_of_others(found.sheets, gap=bool(lines))]))
    else:
        known = {line.player for line in listed(place, None).rounds if line.player} if args.player else set()
        print(none_yet(args.player, _shown(place), known), file=sys.stderr)
    doubtful = [line for line in found.rounds if line.id in found.undated and found.undated[line.id].perhaps]
    if doubtful and not args.json:
        print(_("A day with ? is doubtful."), file=sys.stderr)
    waits = found.waits
    if waits:
        says = ngettext(
            "{fields} of {rounds} waits for you: shortpencil review",
            "{fields} of {rounds} wait for you: shortpencil review",
            sum(waits),
            fields=_count(sum(waits), "field"),
            rounds=_count(len(waits), "sheet" if found.sheets else "round"),
        )
        print(says, file=sys.stderr)
    return ATTENTION if waits else DONE


def none_yet(player: str | None, store: str, known: Collection[str]) -> str:
    """Say that there is no round yet, and how one comes to be there; or whose rounds there are instead."""
    if player and known:
        named = {"player": player, "store": store, "players": in_a_row(sorted(known, key=str.casefold))}
        return _("No rounds of {player} in {store}. It has rounds of {players}.", **named)
    none = (
        _("No rounds of {player} in {store} yet.", player=player, store=store)
        if player
        else _("No rounds in {store} yet.", store=store)
    )
    first = _(
        "Print a card with `shortpencil print -o card.pdf`, mark it after your round, then `shortpencil "
        "read` a photo of it."
    )
    return f"{none} {first}"


def _show_sheet(args: argparse.Namespace, place: str | Path) -> int:
    """Show the rounds of one sheet with their photos; the exit code says whether something waits."""
    from shortpencil.forms.errors import InputError

    with existing_store(place) as store:
        sheet = store.sheet(args.serial)
        lines = {line.id: line for line in store.summaries()}
        undated = store.undated()
        others = {} if sheet and sheet[0].serial in lines else {o.serial: o for o in store.other_sheets()}
    if not sheet:
        raise InputError(
            f"{args.serial}: expected the serial of a round or a card, found none of that name in "
            f"{_shown(place)}."
        )
    if args.json:
        from shortpencil.scan.records.as_json import sheet_json

        print_json(sheet_json(sheet, lines, undated, others))
    for one in sheet if not args.json else ():
        line = lines.get(one.serial)
        other = others.get(one.serial)
        print(
            f"{one.serial}: "
            + (_said(line, undated) if line else _other_said(other) if other else _("no round"))
        )
        for photo in one.photos:
            asks = _("asks {n}", n=photo.questions) if photo.questions else _("asks nothing")
            when = photo.recorded_at[:16].replace("T", " ") + " UTC" if photo.recorded_at else _("no time")
            says = _("{photo}, read {when}, {asks}", photo=photo.source, when=when, asks=asks)
            print(f"    {says}{'' if photo.speaks else _(', does not speak for it')}")
        if not one.photos:
            print("    " + _("from a file"))
    waits = [lines[one.serial].waits for one in sheet if one.serial in lines]
    waits += [len(others[one.serial].waiting) for one in sheet if one.serial in others]
    return ATTENTION if any(waits) else DONE


def _other_said(other: OtherSheet) -> str:
    day = other.day.isoformat() if other.day else _("no date")
    waits = _(", {fields} waiting", fields=_count(len(other.waiting), "field")) if other.waiting else ""
    player, answers = other.player or _("no name"), _count(other.answered, "answer")
    return f"{day}, {other.form.title}, {player}, {answers}{waits}"


def _said(line: Summary, undated: Mapping[str, Undated]) -> str:
    waits = _(", {fields} waiting", fields=_count(line.waits, "field")) if line.waits else ""
    holes = _count(line.holes_scored, "hole")
    named = {"name": called(line, undated), "holes": holes, "score": line.score}
    return _("{name}, {holes}, score {score}", **named) + waits


def called(line: Summary, undated: Mapping[str, Undated]) -> str:
    """Return what a round is called in a line of text: its day, where and whose it was."""
    place = ", ".join(part for part in (line.course, line.layout) if part) if line.course else _("no course")
    return f"{_day_said(line, undated)}, {place}, {line.player or _('no name')}"


def _day_said(line: Summary, undated: Mapping[str, Undated]) -> str:
    """Return the day of a round, a doubtful one with a question mark."""
    if line.played_on:
        return line.played_on.isoformat()
    known = undated.get(line.id)
    return f"{known.perhaps.isoformat()}?" if known and known.perhaps else _("no date")


def run_export(args: argparse.Namespace) -> int:
    """Write the export; the exit code says whether something in it waits and so is empty."""
    from shortpencil.forms.errors import InputError
    from shortpencil.scan.cli.streams import is_dash, write_out
    from shortpencil.scan.records.exchanging.export import rounds_text, write_export

    if is_dash(args.folder) and (args.json or args.parquet):
        raise InputError("export -: expected neither --json nor --parquet: standard output takes the rounds.")
    count = waits = 0
    others: Sequence[OtherSheet] = ()

    def passing(rounds: Iterable[Round]) -> Iterator[Round]:
        nonlocal count, waits
        for round_ in rounds:
            count, waits = count + 1, waits + len(round_.waiting)
            yield round_

    with existing_store(store_place(args)) as store:
        total = sum(args.player in (None, line.player) for line in store.summaries())
        practice = store.practice()
        if args.player is not None:
            practice = tuple(done for done in practice if done.player == args.player)
        rounds = passing(counted(store.each_round(args.player), total, N_("rounds")))
        if is_dash(args.folder):
            write_out(rounds_text(rounds, practice).encode())
            files = []
        else:
            others = store.other_sheets(args.player)
            files = write_export(args.folder, rounds, practice, others, parquet=args.parquet)
            waits += sum(len(other.waiting) for other in others)
    if args.json:
        from shortpencil.scan.records.as_json import exported_json

        print_json(exported_json(count, len(others), waits, files))
    elif files:
        what = _count(count, "round") + (f", {_count(len(others), 'other sheet')}" if others else "")
        names = ", ".join(path.name for path in files)
        print(_("{folder}: {rounds} in {files}.", folder=args.folder, rounds=what, files=names))
    if waits:
        says = ngettext(
            "{fields} waits for you and is left empty: shortpencil review",
            "{fields} wait for you and are left empty: shortpencil review",
            waits,
            fields=_count(waits, "field"),
        )
        print(says, file=sys.stderr)
    return ATTENTION if waits else DONE


def run_import(args: argparse.Namespace) -> int:
    """Check every file, then store those that are right, each in one transaction."""
    from shortpencil.scan.cli.streams import given

    with given(args.files, ".json") as files:
        return _import(args, files)


def _import(args: argparse.Namespace, files: list[Path]) -> int:
    from contextlib import ExitStack

    from shortpencil.forms.errors import InputError, ShortpencilError
    from shortpencil.scan.records.store import open_store

    taken = _checked(files, args.by)
    outcomes: dict[str, dict[str, str]] = {}
    worst = DONE if len(taken) == len(files) else WRONG
    if taken:
        with ExitStack() as stack:
            store = stack.enter_context(open_store(_place_for_import(args, stack), patience=patience()))
            if not args.dry_run:
                store.empty_aside()
            for path, found in taken:
                passing = _Passing(counted(found.pairs(), len(found), N_("rounds")))
                try:
                    outcomes[str(path)] = store.add_checked(
                        passing, found.practice, replace=args.replace, dry_run=args.dry_run
                    )
                except InputError as error:  # which names the file
                    print(f"shortpencil: {told(str(error))}", file=sys.stderr)
                    worst = WRONG
                    continue
                except ShortpencilError as error:
                    print(f"shortpencil: {path}: {told(str(error))}", file=sys.stderr)
                    if (whole := path / "rounds.json").is_file():
                        says = _("The whole rounds, which say more than CSV: {whole}", whole=whole)
                        print(says, file=sys.stderr)
                    worst = WRONG
                    continue
                print(*passing.notes, sep="", end="", file=sys.stderr)
                if passing.waits:
                    worst = max(worst, ATTENTION)
    if args.json:
        from shortpencil.scan.records.as_json import imported_json

        print_json(imported_json(outcomes, dry_run=args.dry_run))
    else:
        for name, became in outcomes.items():
            kinds = list(became.values())
            parts = [f"{kinds.count(kind)} {told(kind)}" for kind in dict.fromkeys(kinds)]
            sets = next(len(found.practice) for path, found in taken if str(path) == name)
            practised = f"; {_count(sets, 'set of practice')}" if sets else ""
            print(
                f"{name}: {_count(len(became), 'round')}{': ' if parts else ''}{', '.join(parts)}{practised}."
            )
        if args.dry_run and outcomes:
            print(_("That was a dry run: nothing was stored."), file=sys.stderr)
    return worst


def _place_for_import(args: argparse.Namespace, stack: ExitStack) -> str | Path:
    """Return where to store; where no store is yet, none is left when nothing was right after all."""
    from shortpencil.scan.leftovers import WORK, folder_for
    from shortpencil.scan.records.store import remove_if_empty

    place = store_place(args)
    if isinstance(place, Path) and not place.exists():
        if args.dry_run:
            return stack.enter_context(folder_for(WORK)) / "rounds.sqlite"
        stack.callback(remove_if_empty, place)
    return place


def table_of(lines: Sequence[Summary], undated: Mapping[str, Undated] | None = None) -> list[str]:
    """Return the list as lines of text: a head and a line a round, in columns; a table for each game.

    Parameters
    ----------
    undated : what is said of the day of rounds without one
    """
    games: dict[tuple[str, ...], list[Summary]] = {}
    for line in lines:
        games.setdefault(line.phases, []).append(line)
    found: list[str] = []
    for phases, of_game in games.items():
        found += [*([""] if found else []), *_table_of_game(of_game, phases, undated or {})]
    return found


#: Phases whose column in the list has a shorter name than the phase.
_SHORT_NAMES = {"approach": "appr."}


def _table_of_game(
    lines: Sequence[Summary], phases: Sequence[str], undated: Mapping[str, Undated]
) -> list[str]:
    counted = tuple(_SHORT_NAMES.get(phase, phase) for phase in phases)
    head = ("date", "player", "course", "holes", "score", "par", *counted, "waits", "card")
    rows = [
        (
            _day_said(line, undated),
            _named(line.player or ""),
            _named(", ".join(part for part in (line.course, line.layout) if part)),
            str(line.holes)
            if line.holes == line.holes_scored
            else _("{n} of {of}", n=line.holes_scored, of=line.holes),
            str(line.score) if line.holes_scored else "",
            "" if line.over_par is None else f"{line.over_par:+d}" if line.over_par else "0",
            *(str(count) for _phase, count in line.misses),
            str(line.waits or ""),
            line.id,
        )
        for line in lines
    ]
    # A column that is empty everywhere says nothing; date, score and misses always stand.
    shown = [
        at for at, name in enumerate(head) if name in (*_ALWAYS, *counted) or any(row[at] for row in rows)
    ]
    close = (*_CLOSE, *counted)
    said = tuple(_(name) if name in _HEADS else name for name in head)
    widths = {at: max(_width(row[at]) for row in (said, *rows)) for at in shown}
    gaps = {at: " " if head[at] in close else "  " for at in shown} | {shown[0]: ""}
    _fit(widths, gaps, [at for at in shown if head[at] in ("player", "course")])
    misses = [at for at in shown if 6 <= at < 6 + len(counted)]
    before = sum(widths[at] + len(gaps[at]) for at in shown if at < misses[0]) + len(gaps[misses[0]])
    span = sum(widths[at] + len(gaps[at]) for at in misses) - len(gaps[misses[0]])
    over = " " * before + _("misses").center(span, "-") if span else ""
    table = [
        "".join(
            gaps[at] + _padded(_cut(row[at], widths[at]), widths[at], left=head[at] in _TEXTS) for at in shown
        ).rstrip()
        for row in (said, *rows)
    ]
    return [over, *table]


def table_of_others(others: Sequence[OtherSheet], *, gap: bool) -> list[str]:
    """Return the sheets that are no rounds as lines of text: a head and a line a sheet."""
    if not others:
        return []
    head = ("date", "player", "sheet", "answers", "waits", "card")
    rows = [
        (
            other.day.isoformat() if other.day else _("no date"),
            _named(other.player or ""),
            other.form.title,
            str(other.answered),
            str(len(other.waiting) or ""),
            other.serial,
        )
        for other in others
    ]
    shown = [at for at in range(len(head)) if any(row[at] for row in rows)]
    said = tuple(_(name) for name in head)
    widths = {at: max(_width(row[at]) for row in (said, *rows)) for at in shown}
    left = ("date", "player", "sheet", "card")
    table = [
        "  ".join(_padded(row[at], widths[at], left=head[at] in left) for at in shown).rstrip()
        for row in (said, *rows)
    ]
    return [*([""] if gap else []), *table]


#: Heads of columns, which are keys here and are translated when they are shown.
_HEADS = (
    N_("date"), N_("player"), N_("course"), N_("holes"), N_("score"), N_("par"), N_("drive"), N_("appr."),
    N_("putt"), N_("waits"), N_("card"), N_("sheet"), N_("answers"), N_("misses"),
)  # fmt: skip
_ALWAYS = ("date", "holes", "score")
_TEXTS = ("date", "player", "course", "card")
_CLOSE = ("holes", "score", "par", "waits", "card")  # one space before
_LEAST_NAME = 6


def _named(text: str) -> str:
    """Return a name as it is shown, before its width is taken: what a terminal would obey grows by that."""
    from shortpencil.forms.shown import one_line

    return one_line(" ".join(text.split()))


def _fit(widths: dict[int, int], gaps: dict[int, str], names: Sequence[int]) -> None:
    """Narrow the columns of names, the widest first, until a line has 80 columns."""
    while sum(widths.values()) + sum(map(len, gaps.values())) > COLUMNS:
        widest = max(names, key=lambda at: widths[at], default=None)
        if widest is None or widths[widest] <= _LEAST_NAME:
            return
        widths[widest] -= 1


def _cut(text: str, width: int) -> str:
    if _width(text) <= width:
        return text
    cut = text
    while cut and _width(cut) > width - 1:
        cut = cut[:-1]
    return f"{cut.rstrip()}…"


def _width(text: str) -> int:
    """Return how many columns of a terminal a text takes; letters of East Asia take two, accents none.

    Nor do the signs without a form that join emoji.
    """
    if text.isascii():
        return len(text)
    from unicodedata import category, east_asian_width

    return sum(
        0 if category(sign) in ("Mn", "Me", "Cf") else 2 if east_asian_width(sign) in "WF" else 1
        for sign in text
    )


def _padded(text: str, width: int, *, left: bool) -> str:
    space = " " * (width - _width(text))
    return text + space if left else space + text


def existing_store(place: str | Path) -> Store:
    """Return the store at a place; RecordError where there is none, instead of a new one."""
    from shortpencil.forms.errors import RecordError
    from shortpencil.scan.records.store import open_store

    if isinstance(place, Path) and not place.exists():
        raise RecordError(
            f"{place}: expected a store, found none. Name it with --store, or read a card first."
        )
    return open_store(place)


def patience() -> Patience:
    """Return how to wait for a store that another program writes to: ten minutes, and why is said."""
    from shortpencil.scan.cli.streams import say
    from shortpencil.scan.records.storing.turns import Patience

    says = _(
        "shortpencil: another program writes to the store, such as an import of many rounds. It is waited "
        "for, up to ten minutes; nothing is lost."
    )
    return Patience(lambda: say(says, sys.stderr))


def _checked(files: Sequence[Path], by: str | None) -> list[tuple[Path, Imported | ByRound]]:
    """Return what the files hold that are right; say of the others all that is wrong with them.

    Exports, which may be large, are checked as they are stored.
    """
    from datetime import UTC, datetime

    from shortpencil.forms.errors import InputError
    from shortpencil.scan.records.exchanging.importing import open_rounds

    taken: list[tuple[Path, Imported | ByRound]] = []
    for path in files:
        try:
            # A file says by its own time when it was typed, so that taking it twice changes nothing.
            at = datetime.fromtimestamp(path.stat().st_mtime, UTC) if by and path.exists() else None
            taken.append((path, open_rounds(path, by=by, at=at)))
        except InputError as error:
            print(f"shortpencil: {told(str(error))}", file=sys.stderr)
    return taken


class _Passing:
    """Passes rounds on, and keeps of them what there is to say."""

    def __init__(self, pairs: Iterable[tuple[Round, str]]) -> None:
        self._pairs = pairs
        self.notes: list[str] = []
        self.waits = False

    def __iter__(self) -> Iterator[tuple[Round, str]]:
        from shortpencil.scan.records.composing.validate import FINE, validate

        for round_, text in self._pairs:
            self.waits = self.waits or bool(round_.waiting)
            for finding in validate(round_):
                if finding.level != FINE:
                    day = round_.played_on.known or _("no date")
                    self.notes.append(f"  {_('note')}  {round_.id} ({day}): {told(finding.says)}\n")
            yield round_, text


def _shown(place: str | Path) -> str:
    """Return a place for a message; a password in a URL stays out of it."""
    if isinstance(place, Path):
        return str(place)
    from shortpencil.scan.records.storing.database import database_url, store_name

    return store_name(database_url(place))


def _count(number: int, noun: str) -> str:
    from shortpencil.scan.review.naming import count_said

    return count_said(number, noun, grouped=False)
