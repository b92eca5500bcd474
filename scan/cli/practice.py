"""The command `focus`: what to practise, the evidence, the plan, whether it helped."""

from __future__ import annotations

import argparse
import sys
from pathlib import Path
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from scan.practice.evidence import Evidence
    from scan.practice.focus import Focus
    from scan.practice.plan import DrillList, Plan
    from scan.records.rounds import Round

DONE, ATTENTION = 0, 1


def add_to(commands: argparse._SubParsersAction[argparse.ArgumentParser]) -> None:
    """Add the command `focus`."""
    parser = commands.add_parser(
        "focus",
        help="what to practise, how sure that is, and a plan for the minutes you have",
        description="Name one thing to practise from the stored rounds, with the evidence and a plan.",
        epilog="Example: shortpencil focus --minutes 30 --report focus.html",
    )
    parser.add_argument("--store", metavar="FILE|URL", help="the store; default: the one in your data folder")
    parser.add_argument("--player", metavar="ALIAS", help="only this player's rounds")
    parser.add_argument(
        "--minutes", metavar="N", type=int, default=30, help="minutes for the session (default: 30)"
    )
    parser.add_argument(
        "--half-life",
        metavar="ROUNDS",
        type=_positive,
        default=5.0,
        help="rounds after which a round counts half (default: 5)",
    )
    parser.add_argument("--drills", metavar="FILE.toml", type=Path, help="a drill list of your own")
    parser.add_argument("--under-16", action="store_true", help="half the throws of a session")
    parser.add_argument("--json", action="store_true", help="print the focus as JSON")
    parser.set_defaults(run=run_focus)


def _positive(text: str) -> float:
    try:
        value = float(text)
    except ValueError:
        value = 0.0
    if not 0.5 <= value <= 1000:
        raise argparse.ArgumentTypeError(f"expected a number of rounds from 0.5 to 1000, found {text!r}")
    return value


def run_focus(args: argparse.Namespace) -> int:
    """Print the focus of one player's stored rounds."""
    from scan.practice.evidence import evidence_of
    from scan.practice.focus import focus_of, why_no_focus
    from scan.practice.plan import plan_of
    from scan.practice.screen import screen

    drills = load_drills(args.drills)
    rounds = _rounds(args)
    evidence = evidence_of(rounds)
    focus = focus_of(evidence, half_life_rounds=args.half_life)
    if focus is None:
        print(f"shortpencil: {why_no_focus(evidence)}", file=sys.stderr)
        return ATTENTION
    plan = plan_of(focus, args.minutes, drills, under_16=args.under_16)
    if args.json:
        import json

        print(json.dumps(as_json(evidence, focus, plan), ensure_ascii=False, indent=2))
    else:
        print("\n".join(screen(evidence, focus, plan)))
    return DONE


def load_drills(path: Path | None) -> DrillList:
    """Return the player's own drill list, or the one that comes with the program."""
    from importlib.resources import files

    from forms.errors import InputError
    from scan.practice.plan import drills_from_toml

    if path is None:
        text = files("scan.practice").joinpath("drills.toml").read_text(encoding="utf-8")
        return drills_from_toml(text, "drills.toml")
    try:
        return drills_from_toml(path.read_text(encoding="utf-8"), str(path))
    except (OSError, UnicodeDecodeError) as error:
        raise InputError(f"{path}: expected a drill list in TOML, but it can't be read: {error}.") from error


def _rounds(args: argparse.Namespace) -> list[Round]:
    from forms.errors import InputError
    from scan.cli.places import default_store
    from scan.records.store import open_store

    place: str | Path = args.store or default_store()
    with open_store(place) as store:
        rounds = store.rounds()
    players = sorted({r.player for r in rounds if r.player})
    if args.player is not None:
        if args.player not in players:
            raise InputError(
                f"{place}: expected rounds of the player {args.player!r}, found "
                f"{', '.join(players) if players else 'none with a name'}. Check the alias."
            )
        return [r for r in rounds if r.player == args.player]
    if len(players) > 1:
        raise InputError(
            f"{place}: expected one player's rounds, found {len(players)} players: {', '.join(players)}. "
            "Say which with --player."
        )
    return list(rounds)


def as_json(evidence: Evidence, focus: Focus, plan: Plan) -> dict[str, Any]:
    """Return the published JSON of `focus --json`, plain types only."""
    from math import isnan

    def number(value: float) -> float | None:
        return None if isnan(value) else round(float(value), 4)

    def interval(i: Any) -> dict[str, float | None]:
        return {"low": number(i.low), "middle": number(i.middle), "high": number(i.high), "level": 0.9}

    def window(w: Any) -> dict[str, Any]:
        return {"rounds": w.rounds, "misses": w.misses, "marked": w.marked, "rate": interval(w.interval)}

    causes = focus.causes
    return {
        "schema": 1,
        "rounds": focus.rounds,
        "focus": {
            "phase": focus.phase,
            "p": number(focus.p),
            "level": focus.level,
            "provisional": focus.provisional,
            "by_count": focus.by_count,
            "by_rate": focus.by_rate,
            "says": focus.disagreement,
            "more_rounds": focus.more_rounds,
        },
        "phases": [
            {
                "phase": p.phase,
                "last": window(p.last),
                "recent": window(p.recent),
                "all": window(p.all),
                "misses_a_round": number(p.misses_a_round),
                "strokes_a_miss": interval(p.cost),
                "strokes_a_round": interval(p.strokes_a_round),
                "p_highest_rate": number(p.p_highest_rate),
                "p_costs_most": number(p.p_costs_most),
            }
            for p in focus.phases
        ],
        "causes": {
            "notes": causes.notes,
            "level": causes.level,
            "suggestion": causes.suggestion,
            "more_rounds": causes.more_rounds,
            "causes": [
                {"id": c.id, "count": c.count, "share": interval(c.share), "p_leads": number(c.p_leads)}
                for c in causes.causes
            ],
            "ways": [{"id": w.id, "count": w.count, "p_leads": number(w.p_leads)} for w in causes.ways],
        },
        "plan": {
            "minutes": plan.minutes,
            "cue": plan.cue,
            "steps": [
                {
                    "box": s.box,
                    "minutes": s.minutes,
                    "drill": s.drill.id if s.drill else None,
                    "sets": s.sets,
                    "tries": s.tries,
                }
                for s in plan.steps
            ],
            "aim": {"count": plan.aim.count, "of": plan.aim.of, "counts": plan.aim.counts},
            "cautions": list(plan.cautions),
            "notes": list(plan.notes),
        },
        "remarks": list(focus.remarks),
    }
