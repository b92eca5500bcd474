"""The command `demo`: the whole way on the bundled sample photos, in a throw-away store."""

from __future__ import annotations

import argparse
import sys
from pathlib import Path
from typing import TYPE_CHECKING

from shortpencil.forms.rules import phase_said
from shortpencil.scan.language import N_, _

if TYPE_CHECKING:
    from shortpencil.scan.records.storing.summary import Summary


def add_to(commands: argparse._SubParsersAction[argparse.ArgumentParser]) -> None:
    """Add the command `demo`."""
    parser = commands.add_parser(
        "demo",
        help=_("the whole way on the bundled sample photos"),
        description=_(
            "Print a card, read the sample photos, show what was read, what waits for review and "
            "why, and what to practise. Nothing touches your own store."
        ),
        epilog=_("Example: shortpencil demo"),
    )
    parser.add_argument(
        "--samples", metavar="DIR", type=Path, help=_("folder of sample photos (default: the bundled ones)")
    )
    parser.add_argument(
        "--out",
        metavar="DIR",
        type=Path,
        help=_("where to put the outputs (default: a new temporary folder)"),
    )
    parser.set_defaults(run=run_demo)


def run_demo(args: argparse.Namespace) -> int:
    """Run the demo; 0 when everything went as the samples promise, whatever waits for review in them."""
    import os

    from shortpencil.scan import leftovers
    from shortpencil.scan.sources import expand

    samples = args.samples or _bundled_samples()
    expand([samples])  # says so when there are none
    leftovers.clear(leftovers.DEMO)
    folder = None if args.out else leftovers.Folder(leftovers.DEMO)
    out = args.out if folder is None else folder.path
    out.mkdir(parents=True, exist_ok=True)
    own_home = os.environ.get("SHORTPENCIL_HOME")
    os.environ["SHORTPENCIL_HOME"] = str(out / "home")
    try:
        _steps(samples, out)
    finally:
        if own_home is None:
            del os.environ["SHORTPENCIL_HOME"]
        else:
            os.environ["SHORTPENCIL_HOME"] = own_home
        if folder is not None:
            folder.let_go()
    if folder is not None:
        print(_("The next demo clears that folder."))
    return 0


def _bundled_samples() -> Path:
    from shortpencil.forms.errors import InputError
    from shortpencil.scan.places import SAMPLES

    if SAMPLES.is_dir():
        return SAMPLES
    raise InputError(
        "The sample photos that come with shortpencil are missing from this installation. "
        "Install it again, or name a folder of photos with --samples."
    )


def _steps(samples: Path, out: Path) -> None:
    from shortpencil.scan.cli.main import main
    from shortpencil.scan.records.store import open_store
    from shortpencil.scan.review.wording import full_name, why_said

    store = out / "rounds.sqlite"
    _say(_("1. A blank card to print"))
    main(["print", "-o", str(out / "blank_card.pdf"), "--map", str(out / "field_map.json")])
    _say(_("2. Reading the sample photos (simulated: see sample_scans/README.md)"))
    main(["read", str(samples), "--store", str(store), *_maps(samples)])
    _say(_("3. What is stored"))
    main(["rounds", "--store", str(store)])
    _say(_("4. What waits for a person, and why"))
    with open_store(store) as kept:
        waiting = kept.waiting()
        forms = {serial: kept.card(serial).form for serial in {item.serial for item in waiting}}
        summaries = kept.summaries()
    for item in waiting:
        name = full_name(forms[item.serial], item.field)
        why = why_said(item.field, item.reading.flag)
        print("  " + _("card {serial}, {field}: {why}", serial=item.serial, field=name, why=why))
    if not waiting:
        print("  " + _("nothing"))
    _say(_("5. Misses per phase, of the throws that are known"))
    _print_misses(summaries)
    _say(_("6. What to practise"))
    report = ["--report", str(out / "focus.html"), "--print", str(out / "sheet.pdf")]
    main(["focus", "--store", str(store), "--minutes", "30", *report])
    _say(_("7. The season so far"))
    main(["season", "--store", str(store), "--report", str(out / "season.html")])
    _say(_("8. What each step saw of one photo"))
    first = sorted(p for p in samples.iterdir() if p.suffix == ".jpg")[:1]
    for photo in first:
        main(["read", "-q", str(photo), "--dry-run", "--explain", str(out / "explain"), *_maps(samples)])
    _say(_("9. Something to look at"))
    print(_("All outputs are in {folder}:", folder=out))
    for name, says in _OUTPUTS:
        print(f"  {name:<15} {_(says)}")
    review = ["review", "--store", str(store)]
    if sys.stdin.isatty() and sys.stdout.isatty():
        print("\n" + _("Now the questions and the rounds, on a page. Ctrl+C ends the demo."), flush=True)
        main(review)
    else:
        command = f"shortpencil {' '.join(review)}"
        print("\n" + _("The questions and the rounds on a page: {command}", command=command))


_OUTPUTS = (
    ("blank_card.pdf", N_("a card to print and mark")),
    ("focus.html", N_("what to practise, with the evidence")),
    ("sheet.pdf", N_("the session to print, with boxes to count in")),
    ("season.html", N_("the season on a page")),
    ("explain", N_("what each step saw of a photo")),
    ("rounds.sqlite", N_("the store; field_map.json says where everything lies on the card")),
)


def _maps(samples: Path) -> list[str]:
    """Options that name the field maps lying beside the samples."""
    return [part for path in sorted(samples.glob("*.map.json")) for part in ("--map", str(path))]


def _say(title: str) -> None:
    print(f"\n{title}\n{'-' * len(title)}", flush=True)
    sys.stderr.flush()


def _print_misses(summaries: tuple[Summary, ...]) -> None:
    columns = summaries[0].phases if summaries else ()
    heads = "".join(f"{_short(phase_said(phase)):>10}" for phase in columns)
    print(f"  {_('date'):<11}{_('score'):>6}" + heads)
    for line in summaries:
        day = line.played_on.isoformat() if line.played_on else _("no date")
        print(f"  {day:<11}{line.score:>6}" + "".join(f"{count:>10}" for _phase, count in line.misses))


def _short(word: str) -> str:
    """Return a word as it fits over a column."""
    return word if len(word) < 10 else f"{word[:7]}."
