"""The command `focus`: what to practise, the evidence, the plan, whether it helped."""

from __future__ import annotations

import argparse
import os
import sys
from collections.abc import Callable, Iterator, Sequence
from contextlib import contextmanager
from dataclasses import dataclass
from datetime import date
from pathlib import Path
from typing import TYPE_CHECKING, Any, TypeVar

from shortpencil.scan.cli.stored import STORE_HELP

if TYPE_CHECKING:
    from shortpencil.scan.practice.choice import Choice
    from shortpencil.scan.practice.effect import Effect, Tested
    from shortpencil.scan.practice.evidence import Evidence
    from shortpencil.scan.practice.focus import Focus
    from shortpencil.scan.practice.gains import Laws
    from shortpencil.scan.practice.phases import PhasePrior
    from shortpencil.scan.practice.plan import DrillList, Plan
    from shortpencil.scan.practice.putting import Putting
    from shortpencil.scan.practice.report import Report
    from shortpencil.scan.practice.sessions import OfTen, Session
    from shortpencil.scan.records.rounds import PracticeSet, Round
    from shortpencil.scan.records.store import Store
    from shortpencil.scan.records.told import ToldSession

DONE, ATTENTION = 0, 1

_Owned = TypeVar("_Owned", "PracticeSet", "ToldSession")


def add_to(commands: argparse._SubParsersAction[argparse.ArgumentParser]) -> None:
    """Add the command `focus`."""
    parser = commands.add_parser(
        "focus",
        help="what to practise, how sure that is, and a plan for the minutes you have",
        description="Name one thing to practise from the stored rounds, with the evidence and a plan.",
        epilog="Example: shortpencil focus --minutes 30 --report focus.html",
    )
    parser.add_argument("--store", metavar="FILE|URL", help=STORE_HELP)
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
    parser.add_argument(
        "--report", metavar="FILE.html|.pdf", type=Path, help="write a page or a sheet of paper"
    )
    parser.add_argument(
        "--print",
        metavar="FILE.pdf",
        type=Path,
        dest="card",
        help="print the practice card: boxes for makes of tries, read from a photo like a round card",
    )
    parser.add_argument(
        "--paper", choices=("a4", "letter"), default="a4", help="sheet size of a PDF (default: a4)"
    )
    parser.add_argument(
        "--practised",
        metavar="PHASE",
        help="the phase you have practised, to see whether it helped (with --since)",
    )
    parser.add_argument(
        "--since", metavar="DATE", type=_day, help="the day you began to practise it, YYYY-MM-DD"
    )
    parser.add_argument(
        "--group",
        metavar="FILE.html",
        type=Path,
        help="write a coach's page about all players of the store, by alias",
    )
    parser.add_argument(
        "--phases",
        metavar="PHASE,…",
        type=_names,
        help="phases of the game to speak of, where cards of several games are stored "
        "(default: the game that most recent rounds are of)",
    )
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


def _names(text: str) -> list[str]:
    return [name.strip() for name in text.split(",")]


def _day(text: str) -> date:
    try:
        return date.fromisoformat(text)
    except ValueError as error:
        raise argparse.ArgumentTypeError(f"expected a day as YYYY-MM-DD, found {text!r}") from error


@dataclass(frozen=True, slots=True)
class _Found:
    """What the store holds for one player, read once: rounds of one game, and what is said of the others."""

    rounds: list[Round]
    said: list[str]
    others: dict[str, list[Round]]
    sets: list[PracticeSet]
    told: list[ToldSession]
    others_sets: dict[str, list[PracticeSet]]
    others_told: dict[str, list[ToldSession]]
    pictures: Callable[[str, str], bytes | None]


@dataclass(frozen=True, slots=True)
class Worked:
    """What was worked out from one player's rounds: all that the screen, the report and the page tell."""

    found: _Found
    evidence: Evidence
    focus: Focus
    choice: Choice
    sessions: tuple[Session, ...]
    tests: tuple[OfTen, ...]
    plan: Plan
    putting: Putting
    effect: Effect | str | None
    tested: Sequence[Tested]

    @property
    def unit(self) -> str:
        """The unit of the newest round."""
        return self.found.rounds[-1].unit

    def report(self, player: str | None, *, with_pictures: bool) -> Report:
        """Return it as a report."""
        from shortpencil.scan.practice.report import report_of

        return report_of(
            self.evidence,
            self.focus,
            self.plan,
            player=player or self.found.rounds[-1].player,
            unit=self.unit,
            putting=self.putting,
            effect=self.effect,
            tested=self.tested,
            choice=self.choice,
            pictures=_pictures(self.focus, self.found.pictures) if with_pictures else None,
        )


def one_thread() -> None:
    """Work out matrices in one thread: these are small, and threads that wait cost a tenth of a second.

    Heeded where NumPy is not loaded yet; what the user has set stands.
    """
    os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")


@contextmanager
def without_garbage() -> Iterator[None]:
    """Look for no circles among objects: libraries that load and rounds that are read make hardly any."""
    import gc

    collects = gc.isenabled()
    gc.disable()
    try:
        yield
    finally:
        if collects:
            gc.enable()


def run_focus(args: argparse.Namespace) -> int:
    """Print the focus of one player's stored rounds; write the report if asked."""
    with without_garbage():
        return _run_focus(args)


def _run_focus(args: argparse.Namespace) -> int:
    one_thread()
    from shortpencil.scan.practice.screen import screen

    _check(args)
    drills = load_drills(args.drills)
    if args.group:
        return _write_group(args, drills)
    with _opened(args) as store:
        worked = work_out(args, store, drills)
        _say_others(store, args.player)
        if isinstance(worked, str):
            print(f"shortpencil: {worked}", file=sys.stderr)
            return ATTENTION
        if args.report:
            report = worked.report(args.player, with_pictures=args.report.suffix == ".html")
            _write_report(args.report, report, args.paper)
    if args.card:
        _print_card(args.card, worked.plan, args.paper, worked.found.rounds[-1], args.player)
    if args.json:
        import json

        found = as_json(
            worked.evidence, worked.focus, worked.plan, worked.effect, worked.tested, worked.choice
        )
        print(json.dumps(found, ensure_ascii=False, indent=2))
    else:
        print("\n".join(screen(worked.evidence, worked.focus, worked.plan, worked.choice)))
        _print_effect(worked, args.player)
    return DONE


def _say_others(store: Store, player: str | None) -> None:
    """Say why the advice leaves out sheets that are no rounds, where there are any."""
    from shortpencil.scan.records.other_sheets import left_out

    if said := left_out(store.other_sheets(player)):
        print(said, file=sys.stderr)


def _print_effect(worked: Worked, player: str | None) -> None:
    """Print whether practice helped, below the screen, where practice is known to have begun."""
    if worked.effect is None:
        return
    import textwrap

    from shortpencil.scan.practice.report import effect_sentences

    print("\nDID IT HELP")
    for sentence in effect_sentences(worked.report(player, with_pictures=False)):
        print(textwrap.fill(sentence, 79))


def work_out(args: argparse.Namespace, store: Store, drills: DrillList) -> Worked | str:
    """Return what `_work_out` does, without looking for circles among the objects made: there are none."""
    with without_garbage():
        return _work_out(args, store, drills)


def _work_out(args: argparse.Namespace, store: Store, drills: DrillList) -> Worked | str:
    """Work out what one player should practise, or return why nothing can be named yet.

    Parameters
    ----------
    args : `player`, `minutes`, `half_life`, `under_16`, `practised`, `since`, as of the command `focus`
    """
    from shortpencil.scan.practice.choice import choice_of, target_of_choice
    from shortpencil.scan.practice.doubt import doubt_remark, pooled_putting, possible_evidence
    from shortpencil.scan.practice.effect import effect_of, practice_results
    from shortpencil.scan.practice.evidence import evidence_of
    from shortpencil.scan.practice.focus import focus_of, why_no_focus
    from shortpencil.scan.practice.plan import plan_of
    from shortpencil.scan.practice.putting import putting_of

    found = _found(args, store)
    evidence = evidence_of(found.rounds)
    prior = _prior(found, evidence.rounds)
    labels = _labels(found.rounds, store)
    possible = possible_evidence(found.rounds)
    doubt = doubt_remark(found.rounds) if possible else None
    focus = focus_of(
        evidence,
        half_life_rounds=args.half_life,
        prior=prior,
        labels=labels,
        possible=possible,
        remarks=[*([doubt] if doubt else []), *found.said],
    )
    if focus is None:
        return " ".join([why_no_focus(evidence) or "Nothing can be named yet.", *found.said])
    ids = evidence.phase_ids
    sessions, tests = _practised(found.sets, found.told, drills, ids)
    choice = choice_of(evidence, focus, sessions, tests, laws=_laws(found, drills, ids))
    target = target_of_choice(choice, evidence, focus, labels)
    unit = found.rounds[-1].unit
    putting = pooled_putting([putting_of(one, unit) for one in possible or (evidence,)])
    plan = plan_of(
        target,
        args.minutes,
        drills,
        under_16=args.under_16,
        success=_success(choice, drills, putting, tests, evidence),
        curve=putting.curve,
        unit=unit,
        repeat=any(t.phase == choice.number for t in tests),
    )
    began = _began(args, found.sets, drills, ids)
    said = args.practised is not None
    effect = effect_of(evidence, *began, sessions, said=said) if began else None
    return Worked(
        found,
        evidence,
        focus,
        choice,
        sessions,
        tests,
        plan,
        putting,
        effect,
        practice_results(found.sets),
    )


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


def _labels(rounds: Sequence[Round], store: Store) -> dict[str, str] | None:
    """Return the causes in the words of the player's own card, the newest round's that has one."""
    from shortpencil.forms.errors import RecordError

    for r in reversed(rounds[-3:]):
        try:
            return {c.id: c.label for c in store.card(r.id).form.causes} or None
        except RecordError:  # the round came from a file, which keeps no form
            continue
    return None


def _prior(found: _Found, rounds: int) -> PhasePrior | None:
    """Return what the other players suggest, while this one has few rounds."""
    from shortpencil.scan.practice.evidence import evidence_of
    from shortpencil.scan.practice.players import LEAST_OTHERS, NEWCOMER_ROUNDS, prior_from

    if rounds >= NEWCOMER_ROUNDS or len(found.others) < LEAST_OTHERS:
        return None
    return prior_from({name: evidence_of(rounds) for name, rounds in found.others.items()})


def _practised(
    sets: Sequence[PracticeSet], told: Sequence[ToldSession], drills: DrillList, ids: Sequence[str]
) -> tuple[tuple[Session, ...], tuple[OfTen, ...]]:
    """Return one player's sessions and tests in the phases of a game, from practice cards and as told."""
    from shortpencil.scan.practice.sessions import sessions_of, ten_tries_of

    phases = _phases_of_drills(drills, ids)
    tested = {**phases, **{d.id: d.phases for d in drills.tests}}
    only = {d: of[0] for d, of in tested.items() if len(of) == 1 and of[0] in ids and _is_test(d, drills)}
    return sessions_of(sets, told, phases, ids), ten_tries_of(
        sets, {d: ids.index(p) for d, p in only.items()}
    )


def _phases_of_drills(drills: DrillList, ids: Sequence[str]) -> dict[str, tuple[str, ...]]:
    """Return the phases that each drill serves, those that stand in where the list has none included."""
    from shortpencil.scan.practice.plan import general_drills, has_drills

    phases = {d.id: d.phases for d in (*drills.drills, *drills.tests)}
    missing = (general_drills(phase) for phase in ids if not has_drills(drills, phase))
    return phases | {d.id: d.phases for three in missing for d in three}


def _is_test(drill: str, drills: DrillList) -> bool:
    listed = {d.id: d.box for d in (*drills.drills, *drills.tests)}
    return listed.get(drill, "test" if drill.endswith("-ten") else "") == "test"


def _laws(found: _Found, drills: DrillList, ids: Sequence[str]) -> Laws | None:
    """Return what the others' rounds say of how practice works, where enough of them have practised."""
    from shortpencil.scan.practice.choice import laws_of_group
    from shortpencil.scan.practice.evidence import evidence_of
    from shortpencil.scan.practice.players import LEAST_OTHERS

    practised = sorted({*found.others_sets, *found.others_told} & set(found.others))
    if len(practised) < LEAST_OTHERS:
        return None
    return laws_of_group(
        [
            (
                evidence_of(found.others[name]),
                *_practised(found.others_sets.get(name, []), found.others_told.get(name, []), drills, ids),
            )
            for name in practised
        ]
    )


def _success(
    choice: Choice, drills: DrillList, putting: Putting, tests: Sequence[OfTen], evidence: Evidence
) -> float | None:
    """Return the chance of one try of the test as things stand: by the last tests, else by the curve."""
    from shortpencil.scan.practice.sessions import lately

    made, tries = lately(tests, choice.number)
    if tries:
        return made / tries
    if choice.number != evidence.putt or putting.curve is None:
        return None
    test = next((d for d in drills.tests if choice.phase in d.phases), None)
    if test is None or not test.distances_m:
        return None
    return sum(putting.curve.at(d) for d in test.distances_m) / len(test.distances_m)


def _began(
    args: argparse.Namespace, sets: list[PracticeSet], drills: DrillList, ids: Sequence[str]
) -> tuple[int, date] | None:
    """Return which phase was practised since when: as said, or as the practice cards tell."""
    from shortpencil.forms.errors import InputError
    from shortpencil.scan.practice.effect import practised_since

    if args.practised is not None:
        if args.practised not in ids:
            raise InputError(
                f"--practised: expected one of the phases {', '.join(ids)}, found {args.practised!r}."
            )
        return ids.index(args.practised), args.since
    since = practised_since(sets, _phases_of_drills(drills, ids))
    return (ids.index(since[0]), since[1]) if since is not None and since[0] in ids else None


def _pictures(focus: Focus, picture: Callable[[str, str], bytes | None]) -> dict[tuple[str, int], bytes]:
    found = {}
    for w in focus.causes.own_words:
        png = picture(w.round_id, w.picture) if w.picture else None
        if png is not None:
            found[w.round_id, w.hole] = png
    return found


def _write_report(path: Path, report: Report, paper: str) -> None:
    from shortpencil.forms.files import write_whole

    if path.suffix.lower() == ".html":
        from shortpencil.scan.practice.web import page

        data = page(report).encode("utf-8")
    else:
        from shortpencil.forms.layout import PAPERS
        from shortpencil.forms.pdf import to_pdf
        from shortpencil.scan.practice.sheet import sheet

        data = to_pdf([sheet(report, PAPERS[paper])], PAPERS[paper], "shortpencil: what to practise")
    write_whole(path, data)
    print(f"{path}: the report.", file=sys.stderr)


def _write_group(args: argparse.Namespace, drills: DrillList) -> int:
    """Write the coach's page about every player with an alias."""
    from shortpencil.forms.files import write_whole
    from shortpencil.scan.practice.doubt import possible_evidence
    from shortpencil.scan.practice.evidence import evidence_of
    from shortpencil.scan.practice.group_page import group_page
    from shortpencil.scan.practice.plan import plan_of
    from shortpencil.scan.practice.players import group_of

    by_alias: dict[str, list[Round]] = {}
    with _opened(args) as store:
        for r in store.rounds():
            if r.player:
                by_alias.setdefault(r.player, []).append(r)
    if not by_alias:
        print("shortpencil: No round has a player's alias. Print cards with --player.", file=sys.stderr)
        return ATTENTION
    by_alias, left_out = _of_the_main_game(by_alias)
    if left_out:
        print(f"shortpencil: {left_out}", file=sys.stderr)
    group = group_of(
        {a: evidence_of(rounds) for a, rounds in by_alias.items()},
        args.half_life,
        {a: possible_evidence(rounds) for a, rounds in by_alias.items()},
    )
    plans = {
        alias: plan_of(focus, args.minutes, drills, under_16=args.under_16)
        for alias, focus in group.foci.items()
    }
    played = {
        alias: (len(rounds), max((r.day for r in rounds if r.day), default=None))
        for alias, rounds in by_alias.items()
    }
    write_whole(args.group, group_page(group, plans, played).encode("utf-8"))
    from shortpencil.scan.practice.words import count

    print(f"{args.group}: {count(len(by_alias), 'player')}.")
    return DONE


def _of_the_main_game(by_alias: dict[str, list[Round]]) -> tuple[dict[str, list[Round]], str | None]:
    """Return the rounds of the game that most recent rounds of all players are of, and what is left out."""
    from shortpencil.scan.practice.games import of_one_game

    found = of_one_game(r for rounds in by_alias.values() for r in rounds)
    kept = {r.id for r in found.rounds}
    of_game = {alias: [r for r in rounds if r.id in kept] for alias, rounds in by_alias.items()}
    return {alias: rounds for alias, rounds in of_game.items() if rounds}, found.left_out


def _print_card(path: Path, plan: Plan, paper: str, last: Round, player: str | None) -> None:
    """Print one practice card and enter its form in the catalog, so that its photo can be read."""
    from shortpencil.forms.files import write_whole

    write_whole(path, practice_pages([(plan, last, player)], paper))
    print(f"{path}: the practice card, {paper}. Print at 100 % or fit to page.", file=sys.stderr)


def practice_pages(found: Sequence[tuple[Plan, Round, str | None]], paper: str) -> bytes:
    """Return a PDF with a practice card for each plan, whose forms are then known.

    Parameters
    ----------
    found : plan, newest round and alias of each player
    """
    import secrets

    from shortpencil.forms.catalog import Catalog
    from shortpencil.forms.field_map import fingerprint
    from shortpencil.forms.layout import PAPERS
    from shortpencil.forms.pdf import identify, to_pdf
    from shortpencil.forms.serials import serial_from
    from shortpencil.scan.cli.places import forms_folder
    from shortpencil.scan.practice.card import practice_page, practice_sheet

    catalog = Catalog(forms_folder())
    pages = []
    for plan, last, player in found:
        hand = "left" if last.hand.known == "left" else "right"
        sheet = practice_sheet(plan, PAPERS[paper], unit=last.unit, hand=hand)
        alias = player or last.player or ""
        serial = serial_from(secrets.token_bytes(16))
        pages.append(practice_page(sheet, identify(serial, fingerprint(sheet.layout), alias), plan))
        catalog.register(sheet.layout)
        if alias:
            catalog.assign({serial: alias})
    return to_pdf(pages, PAPERS[paper], "shortpencil: practice card")


def load_drills(path: Path | None) -> DrillList:
    """Return the player's own drill list, or the one that comes with the program."""
    from importlib.resources import files

    from shortpencil.forms.files import read_text
    from shortpencil.forms.shown import path_text
    from shortpencil.scan.practice.plan import drills_from_toml

    if path is None:
        text = files("shortpencil.scan.practice").joinpath("drills.toml").read_text(encoding="utf-8")
        return drills_from_toml(text, "drills.toml")
    return drills_from_toml(read_text(path), path_text(path))


def _opened(args: argparse.Namespace) -> Store:
    from shortpencil.scan.cli.places import default_store
    from shortpencil.scan.records.store import open_store

    return open_store(args.store or default_store())


def _found(args: argparse.Namespace, store: Store) -> _Found:
    """Return one player's rounds of one game and practice, and the others' rounds of it by alias."""
    from shortpencil.forms.errors import InputError
    from shortpencil.scan.practice.games import game_of, of_one_game

    rounds = store.rounds()
    players = sorted({r.player for r in rounds if r.player})
    if args.player is None and len(players) > 1:
        raise InputError(
            f"{store.name}: expected one player's rounds, found {len(players)} players: "
            f"{', '.join(players)}. Say which with --player."
        )
    if args.player is not None and args.player not in players:
        raise InputError(
            f"{store.name}: expected rounds of the player {args.player!r}, found "
            f"{', '.join(players) if players else 'none with a name'}. Check the alias."
        )
    mine = [r for r in rounds if args.player is None or r.player == args.player]
    asked = getattr(args, "phases", None)
    game = of_one_game(mine, asked)
    if asked is not None and mine and not game.rounds:
        raise InputError(
            f"{store.name}: expected rounds of the phases {', '.join(asked)}, found none. {game.left_out}"
        )
    others: dict[str, list[Round]] = {}
    for r in rounds:
        another = r.player and args.player is not None and r.player != args.player
        if another and game.rounds and game_of(r) == game_of(game.rounds[0]):
            others.setdefault(str(r.player), []).append(r)
    sets, told = store.practice(), store.told_sessions()
    own = args.player
    nameless = _nameless(game.rounds, players) if own is None else None
    return _Found(
        list(game.rounds),
        [*([game.left_out] if game.left_out else []), *([nameless] if nameless else [])],
        others,
        [s for s in sets if own is None or s.player == own],
        [s for s in told if own is None or s.player == own],
        _by_player(sets, own),
        _by_player(told, own),
        store.picture,
    )


def _nameless(rounds: Sequence[Round], players: Sequence[str]) -> str | None:
    """Say that rounds without a name count as those of the only player who is named, where it is so."""
    from shortpencil.scan.practice.words import count

    unnamed = sum(r.player is None for r in rounds)
    if not unnamed or not players:
        return None
    verb = "counts" if unnamed == 1 else "count"
    return (
        f"{count(unnamed, 'round')} without a name {verb} as {players[0]}'s: "
        f"no other name is in this store. With --player {players[0]} only those count that bear the name."
    )


def _by_player(items: Sequence[_Owned], own: str | None) -> dict[str, list[_Owned]]:
    """Return what belongs to players other than `own`, by alias; nothing where no player is asked for."""
    found: dict[str, list[_Owned]] = {}
    for item in items:
        if own is not None and item.player and item.player != own:
            found.setdefault(item.player, []).append(item)
    return found


def as_json(
    evidence: Evidence,
    focus: Focus,
    plan: Plan,
    effect: Effect | str | None = None,
    tested: Sequence[Tested] = (),
    choice: Choice | None = None,
) -> dict[str, Any]:
    """Return the published JSON of `focus --json`, plain types only."""
    from math import isnan

    def number(value: float) -> float | None:
        return None if isnan(value) else round(float(value), 4)

    def interval(i: Any) -> dict[str, float | None]:
        return {"low": number(i.low), "middle": number(i.middle), "high": number(i.high), "level": 0.9}

    def window(w: Any) -> dict[str, Any]:
        return {"rounds": w.rounds, "misses": w.misses, "marked": w.marked, "rate": interval(w.interval)}

    causes = plan.about.causes
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
            "at_stake": number(focus.at_stake),
        },
        "marks": {
            "only_misses_rounds": int(focus.marks.only_misses.sum()),
            "share_unmarked": number(focus.share_unmarked),
            "p_coloured_putts": number(focus.marks.p_coloured),
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
        "next": None if choice is None else _choice_json(choice, interval, number),
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
        "effect": _effect_json(effect, interval, number),
        "practice": [
            {
                "day": t.day.isoformat() if t.day else None,
                "drill": t.drill,
                "made": t.made,
                "tries": t.tries,
                "rate": interval(t.rate),
            }
            for t in tested
        ],
    }


def _choice_json(
    choice: Choice, interval: Callable[[Any], Any], number: Callable[[float], Any]
) -> dict[str, Any]:
    from shortpencil.scan.practice.choice import why_next

    return {
        "phase": choice.phase,
        "costs_most": choice.costs_most,
        "says": " ".join(why_next(choice)),
        "phases": [
            {
                "phase": e.phase,
                "sessions": e.sessions,
                "saves_a_round": interval(e.saves),
                "share_left": number(e.left),
                "p_saves_most": number(e.p_best),
            }
            for e in choice.phases
        ],
        "ahead": list(choice.ahead),
        "p_steady": number(choice.p_steady),
    }


def _effect_json(
    effect: Effect | str | None, interval: Callable[[Any], Any], number: Callable[[float], Any]
) -> dict[str, Any] | None:
    if effect is None:
        return None
    if isinstance(effect, str):
        return {"says": effect}

    def side(s: Any) -> dict[str, Any]:
        return {"rounds": s.rounds, "misses": s.misses, "marked": s.throws, "rate": interval(s.rate)}

    return {
        "phase": effect.phase,
        "since": effect.since.isoformat(),
        "helped": effect.helped,
        "before": side(effect.before),
        "after": side(effect.after),
        "rounds_left_out": effect.left_out,
        "change": interval(effect.change),
        "p_fell": number(effect.p_fell),
        "others_change": interval(effect.others_change),
        "net_change": interval(effect.net_change),
        "p_net_fell": number(effect.p_net_fell),
        "throws_needed": effect.throws_needed,
    }
