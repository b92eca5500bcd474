"""The command `focus`: what to practise, the evidence, the plan, whether it helped."""

from __future__ import annotations

import argparse
import sys
from datetime import date
from pathlib import Path
from typing import TYPE_CHECKING, TypeVar

from shortpencil.scan.cli.stored import STORE_HELP
from shortpencil.scan.language import ENGLISH, _, speaking, spoken, told

if TYPE_CHECKING:
    from shortpencil.scan.advice import Advice, Asked
    from shortpencil.scan.practice.plan import DrillList, Plan
    from shortpencil.scan.practice.report import Report
    from shortpencil.scan.records.composing.rounds import PracticeSet, Round
    from shortpencil.scan.records.store import Store
    from shortpencil.scan.records.storing.told import ToldSession

DONE, ATTENTION = 0, 1

_Owned = TypeVar("_Owned", "PracticeSet", "ToldSession")


def add_to(commands: argparse._SubParsersAction[argparse.ArgumentParser]) -> None:
    """Add the command `focus`."""
    parser = commands.add_parser(
        "focus",
        help=_("what to practise, how sure that is, and a plan for the minutes you have"),
        description=_("Name one thing to practise from the stored rounds, with the evidence and a plan."),
        epilog=_("Example: shortpencil focus --minutes 30 --report focus.html"),
    )
    parser.add_argument("--store", metavar="FILE|URL", help=_(STORE_HELP))
    parser.add_argument("--player", metavar="ALIAS", help=_("only this player's rounds"))
    parser.add_argument(
        "--minutes", metavar="N", type=int, default=30, help=_("minutes for the session (default: 30)")
    )
    parser.add_argument(
        "--half-life",
        metavar="ROUNDS",
        type=_positive,
        default=5.0,
        help=_("rounds after which a round counts half (default: 5)"),
    )
    parser.add_argument("--drills", metavar="FILE.toml", type=Path, help=_("a drill list of your own"))
    parser.add_argument("--under-16", action="store_true", help=_("half the throws of a session"))
    parser.add_argument(
        "--report", metavar="FILE.html|.pdf", type=Path, help=_("write a page or a sheet of paper")
    )
    parser.add_argument(
        "--print",
        metavar="FILE.pdf",
        type=Path,
        dest="card",
        help=_("print the practice card: boxes for makes of tries, read from a photo like a round card"),
    )
    parser.add_argument(
        "--paper", choices=("a4", "letter"), default="a4", help=_("sheet size of a PDF (default: a4)")
    )
    parser.add_argument(
        "--practised",
        metavar="PHASE",
        help=_("the phase you have practised, to see whether it helped (with --since)"),
    )
    parser.add_argument(
        "--since", metavar="DATE", type=_day, help=_("the day you began to practise it, YYYY-MM-DD")
    )
    parser.add_argument(
        "--group",
        metavar="FILE.html",
        type=Path,
        help=_("write a coach's page about all players of the store, by alias"),
    )
    parser.add_argument(
        "--phases",
        metavar="PHASE,…",
        type=_names,
        help=_(
            "phases of the game to speak of, where cards of several games are stored "
            "(default: the game that most recent rounds are of)"
        ),
    )
    parser.add_argument("--json", action="store_true", help=_("print the focus as JSON"))
    parser.set_defaults(run=run_focus)


def _positive(text: str) -> float:
    try:
        value = float(text)
    except ValueError:
        value = 0.0
    if not 0.5 <= value <= 1000:
        raise argparse.ArgumentTypeError(
            _("expected a number of rounds from 0.5 to 1000, found {text}", text=repr(text))
        )
    return value


def _names(text: str) -> list[str]:
    return [name.strip() for name in text.split(",")]


def _day(text: str) -> date:
    try:
        return date.fromisoformat(text)
    except ValueError as error:
        raise argparse.ArgumentTypeError(
            _("expected a day as YYYY-MM-DD, found {text}", text=repr(text))
        ) from error


def run_focus(args: argparse.Namespace) -> int:
    """Print the focus of one player's stored rounds; write the report if asked."""
    from shortpencil.scan.advice import without_garbage

    with without_garbage():
        return _run_focus(args)


def _run_focus(args: argparse.Namespace) -> int:
    from shortpencil.scan.advice import Asked, advise, load_drills, one_thread

    one_thread()
    from shortpencil.scan.practice.screen import screen

    _check(args)
    drills = load_drills(args.drills)
    asked = Asked(
        args.player, args.minutes, args.half_life, args.under_16, args.practised, args.since, args.phases
    )
    if args.group:
        return _write_group(args, asked, drills)
    with _opened(args) as store:
        found = advise(store, asked, drills)
        _say_others(store, args.player)
        if isinstance(found, str):
            print(f"shortpencil: {told(found)}", file=sys.stderr)
            return ATTENTION
        if args.report:
            report = found.report(args.player, with_pictures=args.report.suffix == ".html")
            _write_report(args.report, report, args.paper)
        if args.json:
            _print_json(in_english(found, store, asked, drills))
    if args.card:
        _print_card(args.card, found.plan, args.paper, found.about.rounds[-1], args.player)
    if not args.json:
        print("\n".join(screen(found.history, found.focus, found.plan, found.choice)))
        _print_ladders(found)
        _print_effect(found, args.player)
    return DONE


def in_english(found: Advice, store: Store, asked: Asked, drills: DrillList) -> Advice:
    """Return advice for a file, which does not depend on who asks for it: worked out again in English."""
    from shortpencil.scan.advice import advise

    if spoken() == ENGLISH:
        return found
    with speaking(ENGLISH):
        again = advise(store, asked, drills)
    assert not isinstance(again, str)  # the same rounds as before
    return again


def _print_json(found: Advice) -> None:
    from shortpencil.scan.cli.streams import print_json

    with speaking(ENGLISH):
        says = found.as_json()
    print_json(says, indent=2)


def _say_others(store: Store, player: str | None) -> None:
    """Say why the advice leaves out sheets that are no rounds, where there are any."""
    from shortpencil.scan.records.composing.other_sheets import left_out

    if said := left_out(store.other_sheets(player)):
        print(told(said), file=sys.stderr)


def _print_ladders(found: Advice) -> None:
    """Print putts of practice by distance, below the screen, where there are any."""
    from shortpencil.scan.practice.putting import ladders_said
    from shortpencil.scan.practice.words import percent, wrapped

    told = ladders_said(found.putting)
    if told is None:
        return
    print("\n" + _("PUTTING LADDERS"))
    for rung in found.putting.practice:
        made = _("{made} of {tries}", made=rung.holed_count, tries=rung.tries)
        expected = "" if rung.expected is None else _("in a round {percent}", percent=percent(rung.expected))
        print(f"{rung.label:>8} {made:>12} {percent(rung.holed.middle):>6}   {expected}".rstrip())
    print(*wrapped(told, 79), sep="\n")


def _print_effect(found: Advice, player: str | None) -> None:
    """Print whether practice helped, below the screen, where practice is known to have begun."""
    if found.effect is None:
        return
    from shortpencil.scan.practice.report import effect_sentences
    from shortpencil.scan.practice.words import wrapped

    print("\n" + _("DID IT HELP"))
    for sentence in effect_sentences(found.report(player, with_pictures=False)):
        print(*wrapped(sentence, 79), sep="\n")


def _check(args: argparse.Namespace) -> None:
    """Refuse what can't be done before anything is read."""
    from shortpencil.forms.errors import InputError

    if args.report and args.report.suffix.lower() not in (".html", ".pdf"):
        raise InputError(f"--report: expected a file that ends in .html or .pdf, found {args.report}.")
    if args.group and args.group.suffix.lower() != ".html":
        raise InputError(f"--group: expected a file that ends in .html, found {args.group}.")
    if args.card and args.card.suffix.lower() != ".pdf":
        raise InputError(f"--print: expected a file that ends in .pdf, found {args.card}.")
    if (args.practised is None) != (args.since is None):
        raise InputError("expected --practised and --since together: which phase, and since which day.")


def _write_report(path: Path, report: Report, paper: str) -> None:
    from shortpencil.forms.files import write_whole

    if path.suffix.lower() == ".html":
        from shortpencil.scan.practice.web import page

        data = page(report).encode("utf-8")
    else:
        from shortpencil.forms.layout import PAPERS
        from shortpencil.forms.pdf import to_pdf
        from shortpencil.scan.practice.sheet import sheet

        data = to_pdf(
            [sheet(report, PAPERS[paper])], PAPERS[paper], "shortpencil: what to practise", gaps=True
        )
    write_whole(path, data)
    print(_("{path}: the report.", path=path), file=sys.stderr)


def _write_group(args: argparse.Namespace, asked: Asked, drills: DrillList) -> int:
    """Write the coach's page about every player with an alias."""
    from shortpencil.forms.files import write_whole
    from shortpencil.scan.group_advice import advise_group
    from shortpencil.scan.practice.words import players

    with _opened(args) as store:
        found = advise_group(store, asked, drills)
    if found is None:
        says = _("No round has a player's alias. Print cards with --player.")
        print(f"shortpencil: {says}", file=sys.stderr)
        return ATTENTION
    if found.left_out:
        print(f"shortpencil: {told(found.left_out)}", file=sys.stderr)
    write_whole(args.group, found.page().encode("utf-8"))
    print(f"{args.group}: {players(len(found.played))}.")
    return DONE


def _print_card(path: Path, plan: Plan, paper: str, last: Round, player: str | None) -> None:
    """Print one practice card and enter its form in the catalog, so that its photo can be read."""
    from shortpencil.forms.files import write_whole
    from shortpencil.scan.printing import paper_said, practice_pages

    write_whole(path, practice_pages([(plan, last, player)], paper))
    on = paper_said(paper)
    says = _("{path}: the practice card, {paper}. Print at 100 % or fit to page.", path=path, paper=on)
    print(says, file=sys.stderr)


def _opened(args: argparse.Namespace) -> Store:
    from shortpencil.scan.places import default_store
    from shortpencil.scan.records.store import open_store

    return open_store(args.store or default_store())
