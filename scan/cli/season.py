"""The commands about a season: `practised` tells sessions by hand, `season` shows the year."""

from __future__ import annotations

import argparse
import sys
from collections.abc import Sequence
from datetime import date
from pathlib import Path
from typing import TYPE_CHECKING

from shortpencil.scan.cli.practice import in_english
from shortpencil.scan.cli.stored import add_store_option, none_yet, store_place
from shortpencil.scan.cli.streams import print_json
from shortpencil.scan.language import ENGLISH, _, ngettext, speaking, told

if TYPE_CHECKING:
    from shortpencil.scan.advice import Advice
    from shortpencil.scan.practice.season import Season
    from shortpencil.scan.records.store import Store
    from shortpencil.scan.records.storing.told import ToldSession

DONE, ATTENTION = 0, 1


def add_to(commands: argparse._SubParsersAction[argparse.ArgumentParser]) -> None:
    """Add the command `practised`."""
    practised = commands.add_parser(
        "practised",
        help=_("tell a session of practice: which phase, how many minutes"),
        description=_(
            "Keep a session of practice for which no practice card was filled in, so that the advice "
            "knows of it. Without a phase, list what was told."
        ),
        epilog=_("Example: shortpencil practised putt 30 --on 2030-05-20"),
    )
    practised.add_argument(
        "phase",
        nargs="?",
        metavar="PHASE",
        help=_("drive, approach or putt; or another phase of your rounds"),
    )
    practised.add_argument(
        "minutes", nargs="?", type=_minutes, metavar="MINUTES", help=_("minutes (default: 30)")
    )
    practised.add_argument("--on", metavar="DATE", type=_day, help=_("the day, YYYY-MM-DD (default: today)"))
    practised.add_argument("--player", metavar="ALIAS", help=_("whose session it was"))
    practised.add_argument(
        "--take-back", metavar="NUMBER", type=int, help=_("remove a session told by mistake")
    )
    add_store_option(practised)
    practised.add_argument("--json", action="store_true", help=_("print the sessions as JSON"))
    practised.set_defaults(run=run_practised)

    season = commands.add_parser(
        "season",
        help=_("the year at a glance: practice, misses, tests, what changed, what next"),
        description=_(
            "Show a season: what was practised, how misses and tests of ten went, what changed and "
            "what did not, what to practise in the next weeks, and one aim for the next month."
        ),
        epilog=_("Example: shortpencil season --report season.pdf"),
    )
    add_store_option(season)
    season.add_argument("--player", metavar="ALIAS", help=_("only this player's rounds"))
    season.add_argument(
        "--months", metavar="N", type=_months, default=12, help=_("months back from the newest day, 1 to 12")
    )
    season.add_argument(
        "--report", metavar="FILE.html|.pdf", type=Path, help=_("write a page, or a sheet to pin on a wall")
    )
    season.add_argument(
        "--paper", choices=("a4", "letter"), default="a4", help=_("sheet size of a PDF (default: a4)")
    )
    season.add_argument("--drills", metavar="FILE.toml", type=Path, help=_("a drill list of your own"))
    season.add_argument("--json", action="store_true", help=_("print the season as JSON"))
    season.set_defaults(run=run_season)


def run_practised(args: argparse.Namespace) -> int:
    """Keep, list or take back sessions told by hand."""
    from shortpencil.forms.errors import InputError
    from shortpencil.scan.records.store import open_store

    if args.take_back is not None and args.phase is not None:
        raise InputError("expected either a session to tell or --take-back NUMBER, found both.")
    with open_store(store_place(args)) as store:
        if args.take_back is not None:
            gone = store.take_back_session(args.take_back)
            if args.json:
                _print_json([gone])
            else:
                print(_("Taken back: {session}", session=_line(gone)))
            return DONE
        if args.phase is not None:
            return _tell(args, store)
        listed = [s for s in store.told_sessions() if args.player in (None, s.player)]
    if args.json:
        _print_json(listed)
        return DONE
    if not listed:
        says = _("No session told by hand yet. Tell one: shortpencil practised putt 30")
        print(says, file=sys.stderr)
        return DONE
    for session in listed:
        print(f"{session.number:>4}  {_line(session)}")
    return DONE


def run_season(args: argparse.Namespace) -> int:
    """Print the season of one player; write the page or the sheet if asked."""
    from shortpencil.scan.advice import Asked, advise, load_drills, one_thread

    one_thread()
    from shortpencil.forms.errors import InputError
    from shortpencil.scan.practice.season_page import screen
    from shortpencil.scan.records.store import open_store

    if args.report and args.report.suffix.lower() not in (".html", ".pdf"):
        raise InputError(f"--report: expected a file that ends in .html or .pdf, found {args.report}.")
    with open_store(store_place(args)) as store:
        asked, drills = Asked(args.player), load_drills(args.drills)
        found = advise(store, asked, drills)
        english = (
            in_english(found, store, asked, drills) if args.json and not isinstance(found, str) else None
        )
    if isinstance(found, str):
        print(f"shortpencil: {told(found)}", file=sys.stderr)
        return ATTENTION
    for said in found.about.said:
        print(f"shortpencil: {told(said)}", file=sys.stderr)
    season = found.season(args.player, months=args.months)
    if isinstance(season, str):
        print(f"shortpencil: {told(season)}", file=sys.stderr)
        return ATTENTION
    if args.report:
        _write(args.report, season, args.paper)
    if english is not None:
        _print_season(english, args)
    else:
        print("\n".join(screen(season)))
    return DONE


def _print_season(found: Advice, args: argparse.Namespace) -> None:
    """Print the season's JSON, in English whoever asks for it."""
    from shortpencil.scan.practice.as_json import season_json

    with speaking(ENGLISH):
        season = found.season(args.player, months=args.months)
        assert not isinstance(season, str)  # it was told already why there is none
        print_json(season_json(season), indent=2)


def _write(path: Path, season: Season, paper: str) -> None:
    from shortpencil.forms.files import write_whole
    from shortpencil.scan.practice import season_page

    if path.suffix.lower() == ".html":
        data = season_page.page(season).encode("utf-8")
    else:
        from shortpencil.forms.layout import PAPERS
        from shortpencil.forms.pdf import to_pdf

        data = to_pdf(
            [season_page.sheet(season, PAPERS[paper])], PAPERS[paper], "shortpencil: a season", gaps=True
        )
    write_whole(path, data)
    print(_("{path}: the season.", path=path), file=sys.stderr)


def _months(text: str) -> int:
    if not text.isdecimal() or not 1 <= int(text) <= 12:
        raise argparse.ArgumentTypeError(_("expected 1 to 12 months, found {text}", text=repr(text)))
    return int(text)


def _tell(args: argparse.Namespace, store: Store) -> int:
    from datetime import UTC, datetime

    from shortpencil.scan.records.storing.told import ToldSession, checked

    now, phases = datetime.now(UTC), store.phases_known()
    session = ToldSession(
        day=args.on or now.astimezone().date(),
        phase=_phase_called(args.phase, phases),
        minutes=args.minutes if args.minutes is not None else 30,
        player=_whose(args.player, store),
    )
    kept = store.tell_session(checked(session, now.astimezone().date(), phases), now)
    if args.json:
        _print_json([kept])
        return DONE
    print(_("Kept as number {number}: {session}", number=kept.number, session=_line(kept)))
    if _told_before(kept, store):
        says = _(
            "The same was told before. If it was one session: shortpencil practised --take-back {number}",
            number=kept.number,
        )
        print(says, file=sys.stderr)
    print(_("What to practise next: shortpencil focus"), file=sys.stderr)
    return DONE


def _told_before(kept: ToldSession, store: Store) -> bool:
    def what(told: ToldSession) -> tuple[object, ...]:
        return told.day, told.phase, told.minutes, told.player

    return any(one.number != kept.number and what(one) == what(kept) for one in store.told_sessions())


def _phase_called(word: str, phases: Sequence[str]) -> str:
    """Return the id of the phase that a player calls so, one or several, in the language that is spoken."""
    from shortpencil.forms.rules import MANY, many_said, phase_said

    calls = {
        call.casefold(): id_ for id_ in phases for call in (MANY[id_], many_said(id_), phase_said(id_), id_)
    }
    return calls.get(word.casefold(), word)


def _whose(player: str | None, store: Store) -> str | None:
    """Return the player told, or the only one the store knows; say so where no round is theirs."""
    from shortpencil.forms.errors import InputError
    from shortpencil.forms.shown import composed

    known = sorted({line.player for line in store.summaries() if line.player})
    if player is None and len(known) > 1:
        raise InputError(
            f"{store.name}: expected to be told whose session it was, since there are {len(known)} players: "
            f"{', '.join(known)}. Say which with --player."
        )
    if player is None:
        return known[0] if known else None
    if known and player not in known:
        player = composed(player)
        if player not in known:
            print(none_yet(player, store.name, known), file=sys.stderr)
    return player


def _line(session: ToldSession) -> str:
    from shortpencil.scan.practice import words

    whose = f", {session.player}" if session.player else ""
    return (
        f"{words.day(session.day)}, {words.MANY[session.phase]}, "
        f"{ngettext('{n} minute', '{n} minutes', session.minutes)}{whose}"
    )


def _print_json(sessions: list[ToldSession]) -> None:
    from shortpencil.scan.records.as_json import sessions_json

    print_json(sessions_json(sessions))


def _minutes(text: str) -> int:
    try:
        return int(text)
    except ValueError as error:
        raise argparse.ArgumentTypeError(
            _("expected whole minutes, as in 30, found {text}", text=repr(text))
        ) from error


def _day(text: str) -> date:
    try:
        return date.fromisoformat(text)
    except ValueError as error:
        raise argparse.ArgumentTypeError(
            _("expected a day as YYYY-MM-DD, found {text}", text=repr(text))
        ) from error
