"""The command `read`: photos to readings to the store, with pictures of each step on request."""

from __future__ import annotations

import argparse
import shlex
import sys
import time
from collections.abc import Generator, Iterable, Iterator, Sequence
from contextlib import ExitStack
from dataclasses import replace
from datetime import UTC, datetime
from functools import partial
from pathlib import Path
from typing import TYPE_CHECKING, Any

from shortpencil.scan.cli.progress import left_said
from shortpencil.scan.cli.stored import STORE_HELP, add_picture_option, patience
from shortpencil.scan.language import _, inside, told
from shortpencil.scan.sources import Photo, photo_named, shown

if TYPE_CHECKING:
    from shortpencil.forms.catalog import Catalog
    from shortpencil.forms.errors import InputError
    from shortpencil.scan.cli.read_report import Tally
    from shortpencil.scan.intake import FileResult
    from shortpencil.scan.joining import Keeper
    from shortpencil.scan.records.store import Store

DONE, ATTENTION, WRONG = 0, 1, 2
MOST_NEXT, NEXT_MINUTES = 3, 30  # players whose next session is said, and its length


def add_to(commands: argparse._SubParsersAction[argparse.ArgumentParser]) -> None:
    """Add the command `read`."""
    parser = commands.add_parser(
        "read",
        help=_("read photos of filled cards into the store"),
        description=_("Read photos of filled cards (JPEG, PNG, TIFF, WebP, HEIC, AVIF, PDF) into the store."),
        epilog=_("Example: shortpencil read ~/photos/round.jpg"),
    )
    parser.add_argument(
        "photos",
        metavar="PHOTO",
        nargs="*",
        type=_photo,
        help=_("photos, PDFs, or folders of them, or their URLs; - for one by standard input"),
    )
    parser.add_argument(
        "--list",
        metavar="FILE",
        type=Path,
        help=_("read the photos, folders and URLs named in this file, one a line"),
    )
    parser.add_argument("--store", metavar="FILE|URL", help=_(STORE_HELP))
    parser.add_argument("--json", action="store_true", help=_("print every cell as JSON"))
    parser.add_argument(
        "--explain", metavar="DIR", type=Path, help=_("write a picture of each step to this folder")
    )
    parser.add_argument(
        "--map",
        metavar="FILE.json",
        type=Path,
        action="append",
        default=[],
        help=_("field map of a form printed elsewhere"),
    )
    parser.add_argument("--dry-run", action="store_true", help=_("read, but store nothing"))
    again = parser.add_mutually_exclusive_group()
    again.add_argument(
        "--again", action="store_true", help=_("read photos again that are in the store already")
    )
    again.add_argument(
        "--resume",
        action="store_true",
        help=_("go on with a call that was ended: what is stored is not read again, also with --json"),
    )
    parser.add_argument(
        "--card",
        metavar="NUMBER",
        help=_("which card it is, for one photo whose code is spoilt: the number printed beside it"),
    )
    parser.add_argument(
        "--plain-hand",
        action="store_true",
        help=_(
            "read as any hand's, and keep nothing of it; else a player's cards help to read their next one"
        ),
    )
    add_picture_option(parser)
    parser.add_argument(
        "--jobs",
        metavar="N",
        type=_jobs,
        help=_("worker processes (default: one a core for six photos or more)"),
    )
    parser.add_argument(
        "--cluster",
        metavar="ADDRESS",
        help=_("let the workers of a cluster read, named by its scheduler, as in tcp://192.0.2.7:8786"),
    )
    parser.set_defaults(run=run_read)


def _photo(text: str) -> Photo:
    if not text:  # as of a shell's variable that is not set; as a path it would be this whole folder
        raise argparse.ArgumentTypeError(_("expected a photo, found an empty name"))
    return photo_named(text)


def _jobs(text: str) -> int:
    if not text.isdecimal() or int(text) < 1:
        raise argparse.ArgumentTypeError(
            _("expected a whole number from 1 on, found {text}", text=repr(text))
        )
    return int(text)


def run_read(args: argparse.Namespace) -> int:
    """Read, store and report; see the exit codes in `scan.cli.main`."""
    from shortpencil.forms.errors import InputError
    from shortpencil.forms.serials import typed_code
    from shortpencil.scan.cli.streams import given
    from shortpencil.scan.sources import listed

    if args.cluster and (args.jobs is not None or args.explain):
        raise InputError(
            "--cluster: expected neither --jobs nor --explain, found one of them. The workers say how many "
            "photos are read at once; pictures of each step are drawn on one machine."
        )
    with given([args.list] if args.list else []) as lists, ExitStack() as stack:
        named = [photo for one in lists for photo in listed(one)]
        photos = stack.enter_context(given([*args.photos, *named]))
        if args.card is not None:
            args.card = typed_code(args.card)
            alone = len(photos) == 1 and not (isinstance(photos[0], Path) and photos[0].is_dir())
            if not alone or args.cluster:
                raise InputError("--card: expected one photo with it, read on this machine; found otherwise.")
        if not photos:
            raise InputError("read: expected a photo, a folder, a URL or --list FILE, found none.")
        return _read(args, photos)


def _read(args: argparse.Namespace, photos: list[Photo]) -> int:
    from shortpencil.scan.crew import expect_work

    files, missed = _there(photos)
    if args.cluster is None and files:
        expect_work()  # the process that reads loads its libraries while this one loads those of the store
    from shortpencil.forms.catalog import Catalog
    from shortpencil.forms.field_map import layout_from_json
    from shortpencil.forms.files import read_text
    from shortpencil.forms.shown import path_text
    from shortpencil.scan.cli.read_report import Tally
    from shortpencil.scan.cli.streams import print_json, say
    from shortpencil.scan.cli.terminal import Shown
    from shortpencil.scan.joining import Keeper
    from shortpencil.scan.leftovers import WORK, folder_for
    from shortpencil.scan.places import default_store, forms_folder
    from shortpencil.scan.records.store import open_store

    catalog = Catalog(forms_folder())
    for path in args.map:
        catalog.register(layout_from_json(read_text(path), path_text(path)))
    if args.explain:
        _make_folder(args.explain)
    with ExitStack() as stack:
        # A dry run stores in a folder that goes away, so that it says what a true one would do.
        place = (
            stack.enter_context(folder_for(WORK)) / "rounds.sqlite"
            if args.dry_run
            else args.store or default_store()
        )
        store = stack.enter_context(open_store(place, patience=patience()))
        store.empty_aside()
        results = _results(args, files, catalog, store, stack)
        stack.callback(results.close)  # what it has begun ends before the store is closed
        keeper = Keeper(catalog, store, card_pictures=not args.no_card_picture)
        cards: dict[str, dict[str, Any]] | None = {} if args.json else None
        tally = Tally()
        for photo, error in missed:
            _tell_unopened(shown(photo), str(error), tally, cards)
            tally.photos += 1
        try:
            for result in _counted(results, len(files)):
                _report(result, catalog, keeper, tally, cards, store, stored=not args.dry_run)
        finally:  # whoever stops it early is told what was done
            say("\n".join(tally.lines(stored=not args.dry_run)), sys.stderr)
        if args.dry_run:
            print(_("That was a dry run: nothing was stored."), file=sys.stderr)
        elif cards is None:
            _say_next(store, catalog, [serial for serial, waits in tally.waits.items() if not waits])
    if cards is not None:
        from shortpencil.scan.records.as_json import cards_json

        print_json(cards_json(cards.values()), indent=1)
    lost = isinstance(sys.stdout, Shown) and sys.stdout.lost
    return WRONG if tally.not_opened or lost else ATTENTION if tally.attention else DONE


def _there(photos: list[Photo]) -> tuple[list[Photo], list[tuple[Photo, InputError]]]:
    """Return the files to read, and which of what was named is not there or shows none, and why.

    Raises
    ------
    InputError
        when nothing is left to read; said of all that was named but the last is why before that
    """
    from shortpencil.forms.errors import InputError
    from shortpencil.scan.cli.streams import say
    from shortpencil.scan.sources import expand

    files: list[Photo] = []
    missed: list[tuple[Photo, InputError]] = []
    for photo in photos:
        try:
            files += expand([photo])
        except InputError as error:
            missed.append((photo, error))
    if missed and not files:
        for _photo, why in missed[:-1]:
            say(f"shortpencil: {told(str(why))}", sys.stderr)
        raise missed[-1][1]
    return files, missed


def _results(
    args: argparse.Namespace, files: list[Photo], catalog: Catalog, store: Store, stack: ExitStack
) -> Generator[FileResult, None, None]:
    """What the photos say, one by one, read by this machine or by a cluster."""
    from shortpencil.scan.intake import read_files, workers_for
    from shortpencil.scan.sources import Url
    from shortpencil.scan.vision.seeing.known_hands import Hands

    fresh = args.again or ((args.json or args.explain) and not args.resume)
    # In a dry run nobody's hand is known.
    hands = None if args.dry_run or args.plain_hand else Hands(store.hands())
    # Those are asked of as they are opened, so that nothing is opened twice.
    later = not fresh and (args.cluster is not None or any(isinstance(file, Url) for file in files))
    known = store.photos_read() if later else frozenset()
    if args.cluster is not None:
        from shortpencil.scan.cluster import Cluster

        cluster = stack.enter_context(Cluster(args.cluster))
        return cluster.read_files(files, catalog, hands=hands, known=known)
    seen = {} if fresh else _seen_before(files, store)
    jobs = workers_for(len(files) - len(seen), args.jobs)
    how = {"known": known, "hands": hands, "explain": args.explain, "typed": args.card}
    return read_files(files, catalog, jobs=jobs, skip=seen, **how)


def _say_next(store: Store, catalog: Catalog, serials: list[str]) -> None:
    """Say the next session of each player whose practice was read just now, where its card asks nothing.

    Who threw a putting ladder is told the next one, too.
    """
    from shortpencil.forms.rules import LADDER_SHEET, is_sheet
    from shortpencil.scan.records.composing.practice_sets import has_sets

    heads = {head.serial: head for head in store.heads()} if serials else {}
    players: dict[str | None, str] = {}
    for serial in serials:
        head = heads.get(serial)
        layout = catalog.find(head.form) if head is not None else None
        if head is not None and layout is not None and has_sets(layout.form):
            player = store.card(serial).player
            ladder = layout.form.name if is_sheet(layout.form, LADDER_SHEET) else ""
            players[player] = ladder or players.get(player, "")
    if not players:
        return
    from shortpencil.scan.cli.review import focus_of_store

    focus = focus_of_store(store)
    for player, ladder in list(players.items())[:MOST_NEXT]:
        view = focus(player, NEXT_MINUTES)
        whose, more = _of_player(player)
        if isinstance(view, str):
            print(f"{whose}{view}", file=sys.stderr)
            if ladder:
                _say_next_ladder(player, ladder, "")
            continue
        steps = "; ".join(_("{n} min", n=step.minutes) + f" {step.title.rstrip('.')}" for step in view.steps)
        says = _("next session: {title}. {steps}.", title=inside(view.title), steps=steps)
        # The page holds numbers to their units by signs that not every terminal has.
        print(f"{whose}{says}".replace("\N{NO-BREAK SPACE}", " "), file=sys.stderr)
        print(f"    {view.in_short}", file=sys.stderr)
        print(f"    shortpencil focus{more} --print practice.pdf", file=sys.stderr)
        if ladder:
            _say_next_ladder(player, ladder, view.rungs)


def _of_player(player: str | None) -> tuple[str, str]:
    """Return how a line about a player begins, and the option that names them; nothing where nobody is."""
    return (f"{player}: ", f" --player {shlex.quote(player)}") if player else ("", "")


def _say_next_ladder(player: str | None, form: str, rungs: str) -> None:
    """Say from where to throw the next putting ladder, and how it is printed."""
    says = (
        _("next ladder: {rungs}; there four of five putts of a round drop, and down to half.", rungs=rungs)
        if rungs
        else _("next ladder: from the rungs where seven dropped on. Putts of rounds tell too little yet.")
    )
    whose, more = _of_player(player)
    print(f"{whose}{says}".replace("\N{NO-BREAK SPACE}", " "), file=sys.stderr)
    print(f"    shortpencil print --form {form}{more} -o ladder.pdf", file=sys.stderr)


def _counted(results: Iterable[FileResult], total: int) -> Iterator[FileResult]:
    """Pass the results on and say how far reading has come, and how long the rest will take."""
    from shortpencil.scan.cli.streams import say

    begun = time.monotonic()
    before = 0  # those cost nothing, and say nothing of how long the others take
    for number, result in enumerate(results, start=1):
        before += result.before
        if total > 1:
            left = left_said(number - before, total - before, time.monotonic() - begun)
            say(f"[{number}/{total}{left}] {result.path}", sys.stderr)
        yield result


def _make_folder(folder: Path) -> None:
    from shortpencil.forms.errors import InputError
    from shortpencil.forms.shown import path_text

    try:
        folder.mkdir(parents=True, exist_ok=True)
    except OSError as error:
        raise InputError(
            f"{path_text(folder)}: cannot be made: {error.strerror}. Choose another folder."
        ) from error


def _seen_before(files: Sequence[Photo], store: Store) -> dict[Photo, str]:
    """Files of this machine that the store read before; told by what is in them, whatever their names."""
    import hashlib

    from shortpencil.forms.files import is_ordinary

    seen: dict[Photo, str] = {}
    for path in files:
        if not isinstance(path, Path) or not is_ordinary(
            path
        ):  # a pipe would be waited for, a device would never end
            continue
        try:
            with path.open("rb") as stream:
                digest = hashlib.file_digest(stream, "sha256").hexdigest()
        except OSError:
            continue
        if store.photo_status(digest) == "read":
            seen[path] = digest
    return seen


def _report(
    result: FileResult,
    catalog: Catalog,
    keeper: Keeper,
    tally: Tally,
    cards: dict[str, dict[str, Any]] | None,
    store: Store,
    *,
    stored: bool,
) -> None:
    """Store and report one file's cards; with `cards`, collect them as JSON, one a round."""
    from shortpencil.scan.cli.read_report import card_lines, waiting
    from shortpencil.scan.cli.streams import say
    from shortpencil.scan.joining import NotKept, one_a_round
    from shortpencil.scan.records.as_json import card_json, rows_of
    from shortpencil.scan.review.shelf import name_of

    tell = say if stored else partial(print, flush=True)  # a dry run is there for what it says
    if result.before:
        tally.photos += 1
        tally.before += 1
        if cards is None:
            tell(_("{path}: read before, nothing changes.", path=Path(result.path).name))
        elif result.sha256 is not None:
            cards.update(_stored(store, result.sha256))
        return
    result = one_a_round(result, catalog)
    for number, kept in enumerate(keeper.keep(result, datetime.now(UTC))):
        if isinstance(kept, NotKept):
            tally.not_kept.append(Path(result.path).name)
            say(f"shortpencil: {told(kept.says)}", sys.stderr)
            continue
        waits, called = waiting(kept), ""
        if kept.round is None and kept.serial is not None:  # a sheet that is no round, with its answers
            card = store.card(kept.serial)
            waits, called = card.waiting, name_of(store, card).line
        tally.add(kept, waits, called)
        if cards is not None:
            rows = None
            if kept.round is None and kept.serial is not None:
                rows = rows_of(store.other_sheets(), kept.serial)
            cards[kept.serial or f"{result.path} {number}"] = card_json(kept.reading, kept.round, rows)
            continue
        layout = catalog.find(kept.reading.form) if kept.reading.form else None
        # The photo that was read just now, also where another one speaks for the card.
        source = result.readings[number].source
        as_read = replace(kept, reading=replace(kept.reading, source=source))
        tell("\n".join(card_lines(as_read, layout.form if layout else None, waits, stored=stored)))
    aside = tell if cards is None else partial(say, stream=sys.stderr)
    for note in result.notes:
        aside(f"{Path(result.path).name}: {told(note)}.")
    if result.error is not None:
        _tell_unopened(result.path, result.error, tally, cards)
    tally.photos += 1  # one that was stopped half way is none of those read


def _tell_unopened(path: str, error: str, tally: Tally, cards: dict[str, dict[str, Any]] | None) -> None:
    """Say why a file, or something that was named for one, was not opened, and count it."""
    from shortpencil.scan.cli.streams import say

    tally.not_opened.append(Path(path).name or path)
    say(f"shortpencil: {told(error)}", sys.stderr)
    if cards is not None:
        cards[path] = _unopened(path, error)


def _stored(store: Store, photo: str) -> dict[str, dict[str, Any]]:
    """Return the cards that a photo shows as JSON, as they are stored."""
    from shortpencil.scan.records.as_json import card_json, rows_of

    cards = {}
    for serial in store.serials_on(photo):
        round_ = store.round(serial)
        rows = rows_of(store.other_sheets(), serial) if round_ is None else None
        cards[serial] = card_json(store.card(serial).reading, round_, rows)
    return cards


def _unopened(path: str, error: str) -> dict[str, Any]:
    from shortpencil.scan.reading import CardReading
    from shortpencil.scan.records.as_json import card_json

    return card_json(CardReading(source=path, status="rejected", reason=error))
