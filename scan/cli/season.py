"""The command `practised`: sessions of practice told by hand, listed, taken back."""

from __future__ import annotations

import argparse
import sys
from datetime import date
from typing import TYPE_CHECKING

from scan.cli.stored import add_store_option, store_place

if TYPE_CHECKING:
    from scan.records.store import Store
    from scan.records.told import ToldSession

DONE, ATTENTION = 0, 1

#: What a player may call a phase.
_PHASES = {
    "drive": "drive",
    "drives": "drive",
    "approach": "approach",
    "approaches": "approach",
    "putt": "putt",
    "putts": "putt",
}


def add_to(commands: argparse._SubParsersAction[argparse.ArgumentParser]) -> None:
    """Add the command `practised`."""
    told = commands.add_parser(
        "practised",
        help="tell a session of practice: which phase, how many minutes",
        description="Keep a session of practice for which no practice card was filled in, so that the advice "
        "knows of it. Without a phase, list what was told.",
        epilog="Example: shortpencil practised putt 30 --on 2030-05-20",
    )
    told.add_argument("phase", nargs="?", type=_phase, metavar="PHASE", help="drive, approach or putt")
    told.add_argument("minutes", nargs="?", type=_minutes, metavar="MINUTES", help="minutes (default: 30)")
    told.add_argument("--on", metavar="DATE", type=_day, help="the day, YYYY-MM-DD (default: today)")
    told.add_argument("--player", metavar="ALIAS", help="whose session it was")
    told.add_argument("--take-back", metavar="NUMBER", type=int, help="remove a session told by mistake")
    add_store_option(told)
    told.add_argument("--json", action="store_true", help="print the sessions as JSON")
    told.set_defaults(run=run_practised)


def run_practised(args: argparse.Namespace) -> int:
    """Keep, list or take back sessions told by hand."""
    from forms.errors import InputError
    from scan.records.store import open_store

    if args.take_back is not None and args.phase is not None:
        raise InputError("expected either a session to tell or --take-back NUMBER, found both.")
    with open_store(store_place(args)) as store:
        if args.take_back is not None:
            gone = store.take_back_session(args.take_back)
            print(f"Taken back: {_line(gone)}")
            return DONE
        if args.phase is not None:
            return _tell(args, store)
        listed = [s for s in store.told_sessions() if args.player in (None, s.player)]
    if args.json:
        _print_json(listed)
        return DONE
    if not listed:
        print("No session told by hand yet. Tell one: shortpencil practised putt 30", file=sys.stderr)
        return DONE
    for session in listed:
        print(f"{session.number:>4}  {_line(session)}")
    return DONE


def _tell(args: argparse.Namespace, store: Store) -> int:
    from datetime import UTC, datetime

    from scan.records.told import ToldSession, checked

    now = datetime.now(UTC)
    session = ToldSession(
        day=args.on or now.astimezone().date(),
        phase=args.phase,
        minutes=args.minutes if args.minutes is not None else 30,
        player=_whose(args.player, store),
    )
    kept = store.tell_session(checked(session, now.astimezone().date()), now)
    if args.json:
        _print_json([kept])
        return DONE
    print(f"Kept as number {kept.number}: {_line(kept)}")
    print("What to practise next: shortpencil focus", file=sys.stderr)
    return DONE


def _whose(player: str | None, store: Store) -> str | None:
    """Return the player told, or the only one the store knows."""
    from forms.errors import InputError

    known = sorted({line.player for line in store.summaries() if line.player})
    if player is None and len(known) > 1:
        raise InputError(
            f"{store.name}: expected to be told whose session it was, since there are {len(known)} players: "
            f"{', '.join(known)}. Say which with --player."
        )
    return player if player is not None else known[0] if known else None


def _line(session: ToldSession) -> str:
    from scan.practice import words

    whose = f", {session.player}" if session.player else ""
    return (
        f"{words.day(session.day)}, {words.MANY[session.phase]}, "
        f"{words.count(session.minutes, 'minute')}{whose}"
    )


def _print_json(sessions: list[ToldSession]) -> None:
    import json

    listed = [
        {
            "number": s.number,
            "day": s.day.isoformat(),
            "phase": s.phase,
            "minutes": s.minutes,
            "player": s.player,
        }
        for s in sessions
    ]
    print(json.dumps({"schema": 1, "sessions": listed}, ensure_ascii=False))


def _phase(text: str) -> str:
    phase = _PHASES.get(text.casefold())
    if phase is None:
        raise argparse.ArgumentTypeError(f"expected drive, approach or putt, found {text!r}")
    return phase


def _minutes(text: str) -> int:
    try:
        return int(text)
    except ValueError as error:
        raise argparse.ArgumentTypeError(f"expected whole minutes, as in 30, found {text!r}") from error


def _day(text: str) -> date:
    try:
        return date.fromisoformat(text)
    except ValueError as error:
        raise argparse.ArgumentTypeError(f"expected a day as YYYY-MM-DD, found {text!r}") from error
