"""The command `read`: photos to readings to the store, with pictures of each step on request."""

from __future__ import annotations

import argparse
import sys
from collections.abc import Callable, Iterable, Iterator
from datetime import UTC, datetime
from pathlib import Path
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from forms.catalog import Catalog
    from scan.intake import FileResult
    from scan.reading import CardReading
    from scan.records.rounds import Round
    from scan.records.store import Store

DONE, ATTENTION, WRONG = 0, 1, 2
Say = Callable[[str], None]


def add_to(commands: argparse._SubParsersAction[argparse.ArgumentParser]) -> None:
    """Add the command `read`."""
    parser = commands.add_parser(
        "read",
        help="read photos of filled cards into the store",
        description="Read photos of filled cards (JPEG, PNG, TIFF, WebP, HEIC, PDF) into the store.",
        epilog="Example: shortpencil read ~/photos/round.jpg",
    )
    parser.add_argument(
        "photos", metavar="PHOTO", nargs="+", type=Path, help="photos, PDFs, or folders of them"
    )
    parser.add_argument("--store", metavar="FILE|URL", help="the store; default: the one in your data folder")
    parser.add_argument("--json", action="store_true", help="print every cell as JSON")
    parser.add_argument(
        "--explain", metavar="DIR", type=Path, help="write a picture of each step to this folder"
    )
    parser.add_argument(
        "--map",
        metavar="FILE.json",
        type=Path,
        action="append",
        default=[],
        help="field map of a form printed elsewhere",
    )
    parser.add_argument("--dry-run", action="store_true", help="read, but store nothing")
    parser.add_argument(
        "--again", action="store_true", help="read photos again that are in the store already"
    )
    parser.add_argument(
        "--plain-hand",
        action="store_true",
        help="read as any hand's, and keep nothing of it; else a player's cards help to read their next one",
    )
    parser.add_argument(
        "--jobs", metavar="N", type=int, help="worker processes (default: one a core for six photos or more)"
    )
    parser.set_defaults(run=run_read)


def run_read(args: argparse.Namespace) -> int:
    """Read, store and report; see the exit codes in `scan.cli.main`."""
    import json

    from forms.catalog import Catalog
    from forms.field_map import layout_from_json
    from forms.files import read_text
    from forms.shown import path_text
    from scan.cli.places import default_store, forms_folder
    from scan.intake import expand, read_files, workers_for
    from scan.joining import joined
    from scan.reading import READING_SCHEMA
    from scan.records.store import open_store
    from scan.vision.own_hand import Hands

    files = expand(args.photos)
    catalog = Catalog(forms_folder())
    for path in args.map:
        catalog.register(layout_from_json(read_text(path), path_text(path)))
    if args.explain:
        _make_folder(args.explain)
    store = None if args.dry_run else open_store(args.store or default_store())
    try:
        seen = (
            set() if store is None or args.again or args.json or args.explain else _seen_before(files, store)
        )
        results: Iterator[FileResult]
        # Without a store, as in a dry run, nobody's hand is known.
        hands = None if store is None or args.plain_hand else Hands(store.hands())
        jobs = workers_for(len(files) - len(seen), args.jobs)
        results = read_files(files, catalog, jobs=jobs, skip=seen, hands=hands, explain=args.explain)
        cards: list[dict[str, Any]] = []
        worst = DONE
        for result in joined(_counted(results, len(files)), catalog):
            worst = max(worst, _report(result, catalog, store, cards if args.json else None))
    finally:
        if store is not None:
            store.close()
    if args.json:
        print(json.dumps({"schema": READING_SCHEMA, "cards": cards}, ensure_ascii=False, indent=1))
    return worst


def _counted(results: Iterable[FileResult], total: int) -> Iterator[FileResult]:
    """Pass the results on and say how far reading has come: photos of one card wait for one another."""
    for number, result in enumerate(results, start=1):
        if total > 1:
            print(f"[{number}/{total}] {result.path}", file=sys.stderr)
        yield result


def _make_folder(folder: Path) -> None:
    from forms.errors import InputError
    from forms.shown import path_text

    try:
        folder.mkdir(parents=True, exist_ok=True)
    except OSError as error:
        raise InputError(
            f"{path_text(folder)}: cannot be made: {error.strerror}. Choose another folder."
        ) from error


def _seen_before(files: list[Path], store: Store) -> set[Path]:
    """Files that the store read before; told by what is in them, whatever their names."""
    import hashlib

    from forms.files import is_ordinary

    seen = set()
    for path in files:
        if not is_ordinary(path):  # a pipe would be waited for, a device would never end
            continue
        try:
            with path.open("rb") as stream:
                digest = hashlib.file_digest(stream, "sha256").hexdigest()
        except OSError:
            continue
        if store.photo_status(digest) == "read":
            seen.add(path)
    return seen


def _report(
    result: FileResult, catalog: Catalog, store: Store | None, cards: list[dict[str, Any]] | None
) -> int:
    """Store and report one file's cards; return its exit code."""
    from scan.intake import keep, round_of
    from scan.reading import reading_to_json
    from scan.records.record_json import round_to_json

    if result.before:
        print(f"{result.path}: read before, nothing changes.")
        return DONE
    code = DONE
    for reading in result.readings:
        now = datetime.now(UTC)
        round_ = round_of(reading, catalog, now)
        outcome = keep(reading, round_, catalog, store) if store is not None else "not stored"
        if cards is not None:
            cards.append(reading_to_json(reading, round_to_json(round_) if round_ else None))
        else:
            _print_card(reading, round_, outcome)
        if reading.status != "read" or reading.flagged:
            code = ATTENTION
    for note in result.notes:
        print(f"{Path(result.path).name}: {note}.", file=sys.stdout if cards is None else sys.stderr)
    if result.error is not None:
        print(f"shortpencil: {result.error}", file=sys.stderr)
        if cards is not None:
            cards.append(_unopened(result.path, result.error))
        code = WRONG
    return code


def _unopened(path: str, error: str) -> dict[str, Any]:
    from scan.reading import CardReading, reading_to_json

    return reading_to_json(CardReading(source=path, status="rejected", reason=error))


def _print_card(reading: CardReading, round_: Round | None, outcome: str) -> None:
    """Say in a few lines what one card gave."""
    name = Path(reading.source).name
    if reading.status != "read":
        print(f"{name}: not read. {_sentence(reading.reason)}")
        return
    waits = len(reading.flagged)
    doubt = (
        "nothing to ask"
        if waits == 0
        else f"{waits} {'field waits' if waits == 1 else 'fields wait'} for review"
    )
    photos = f", read from {1 + len(reading.together)} photos" if reading.together else ""
    print(f"{name}: card {reading.serial}{photos}, {_summary(round_)}, {doubt} ({outcome})")
    for field_id in reading.flagged:
        answer = reading.fields[field_id]
        print(f"    ask  {field_id}: {answer.flag}")
    for finding in reading.findings:
        print(f"    note {finding.says}")


def _summary(round_: Round | None) -> str:
    if round_ is None:
        return "a card of its own form"
    scores = [hole.score.known for hole in round_.holes if isinstance(hole.score.known, int)]
    day = round_.played_on.known or "no date"
    return f"{day}, {len(scores)} holes, score {sum(s for s in scores if isinstance(s, int))}"


def _sentence(reason: str | None) -> str:
    """The reason with a capital first letter; codes in it keep their capitals."""
    return f"{reason[0].upper()}{reason[1:]}" if reason else ""
