"""From a store to advice: what one player should practise, how sure that is, the plan, did it help.

One way for the command line, the page and programs. The store is read once; everything else is worked out by
`scan.practice`, which knows no store.
"""

from __future__ import annotations

import os
from collections.abc import Callable, Iterator, Sequence, Set
from contextlib import contextmanager
from dataclasses import dataclass, replace
from datetime import date
from pathlib import Path
from typing import TYPE_CHECKING, Any, TypeVar

from shortpencil.scan.language import _, ngettext

if TYPE_CHECKING:
    from shortpencil.scan.practice.choice import Choice
    from shortpencil.scan.practice.effect import Effect, Tested
    from shortpencil.scan.practice.focus import Focus
    from shortpencil.scan.practice.gains import Laws
    from shortpencil.scan.practice.history import History
    from shortpencil.scan.practice.phases import PhasePrior
    from shortpencil.scan.practice.plan import DrillList, Plan
    from shortpencil.scan.practice.putting import Putting
    from shortpencil.scan.practice.report import Report
    from shortpencil.scan.practice.season import Season
    from shortpencil.scan.practice.sessions import OfTen, Session
    from shortpencil.scan.records.composing.rounds import PracticeSet, Round
    from shortpencil.scan.records.store import Store
    from shortpencil.scan.records.storing.told import ToldSession

_Owned = TypeVar("_Owned", "PracticeSet", "ToldSession")


@dataclass(frozen=True, slots=True)
class Asked:
    """Whose advice is asked for, and for what session.

    Attributes
    ----------
    player : the alias; None where the store knows one player at most
    minutes : of the next session
    half_life : rounds after which a round counts half
    under_16 : half the throws of a session
    practised, since : which phase was practised since which day, where the player says so
    phases : ids of the phases of the game that is meant; None: the game of most recent rounds
    """

    player: str | None = None
    minutes: int = 30
    half_life: float = 5.0
    under_16: bool = False
    practised: str | None = None
    since: date | None = None
    phases: Sequence[str] | None = None


@dataclass(frozen=True, slots=True)
class OnePlayer:
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
class Advice:
    """What was worked out from one player's rounds: all that the screen, the report and the page tell."""

    about: OnePlayer
    history: History
    focus: Focus
    choice: Choice
    sessions: tuple[Session, ...]
    tests: tuple[OfTen, ...]
    plan: Plan
    putting: Putting
    effect: Effect | str | None
    tested: Sequence[Tested]
    possible: tuple[History, ...] = ()

    @property
    def unit(self) -> str:
        """The unit of the newest round."""
        return self.about.rounds[-1].unit

    def as_json(self) -> dict[str, Any]:
        """Return it as the published JSON of `focus --json`."""
        from shortpencil.scan.practice.as_json import focus_json

        return focus_json(
            self.history, self.focus, self.plan, self.effect, self.tested, self.choice, self.putting
        )

    def report(self, player: str | None = None, *, with_pictures: bool) -> Report:
        """Return it as a report."""
        from shortpencil.scan.practice.report import report_of

        return report_of(
            self.history,
            self.focus,
            self.plan,
            player=player or self.about.rounds[-1].player,
            unit=self.unit,
            putting=self.putting,
            effect=self.effect,
            tested=self.tested,
            choice=self.choice,
            pictures=_pictures(self.focus, self.about.pictures) if with_pictures else None,
            possible=self.possible,
        )

    def season(
        self, player: str | None = None, *, months: int = 12, today: date | None = None
    ) -> Season | str:
        """Return the season of these rounds, `months` back from the newest day, or why there is none.

        Its aim is for the month after `today` (that of the clock, if not said), or after the newest day where
        that is later.
        """
        from shortpencil.scan.practice.history import in_order
        from shortpencil.scan.practice.season import season_of

        rounds = in_order(self.about.rounds)
        if not any(r.day for r in rounds):
            return _("No round has a day, so there is no season to show. Write the date on the card.")
        return season_of(
            self.history,
            self.focus,
            self.choice,
            self.sessions,
            self.tests,
            _foci(rounds, self.history, months),
            self.plan.aim.count,
            player=player or rounds[-1].player,
            months=months,
            possible=self.possible,
            today=today or date.today(),
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


def advise(store: Store, asked: Asked | None = None, drills: DrillList | None = None) -> Advice | str:
    """Work out what one player should practise, or return in a sentence why nothing can be named yet.

    Parameters
    ----------
    store : open
    asked : whose advice, for how many minutes; None: of the only player, for 30
    drills : a list of the player's own; None: the one that comes with the program

    Raises
    ------
    InputError
        when it is not clear whose rounds are meant, or there are none of that name or game
    """
    with without_garbage():
        return _advise(asked or Asked(), store, load_drills(None) if drills is None else drills)


def _advise(asked: Asked, store: Store, drills: DrillList) -> Advice | str:
    from shortpencil.scan.practice.choice import choice_of, target_of_choice
    from shortpencil.scan.practice.doubt import doubt_remark, pooled_putting, possible_histories
    from shortpencil.scan.practice.effect import effect_of, practice_results
    from shortpencil.scan.practice.focus import focus_of, why_no_focus
    from shortpencil.scan.practice.history import NO_PHASE, history_of
    from shortpencil.scan.practice.plan import plan_of, titles_of
    from shortpencil.scan.practice.putting import putting_of, rungs_of

    found = _found(asked, store)
    history = history_of(found.rounds)
    prior = _prior(found, history.rounds)
    labels = _labels(found.rounds, store)
    possible = possible_histories(found.rounds)
    doubt = doubt_remark(found.rounds) if possible else None
    elsewhere = _elsewhere(found, drills, history.phase_ids)
    focus = focus_of(
        history,
        half_life_rounds=asked.half_life,
        prior=prior,
        labels=labels,
        possible=possible,
        remarks=[*([doubt] if doubt else []), *found.said, *elsewhere],
    )
    if focus is None:
        return " ".join([why_no_focus(history) or _("Nothing can be named yet."), *found.said, *elsewhere])
    ids = history.phase_ids
    sessions, tests = _practised(found.sets, found.told, drills, ids)
    laws = _laws(found, drills, ids)
    choice = choice_of(history, focus, sessions, tests, laws=laws, possible=possible)
    choice = replace(choice, whose=asked.player)
    target = target_of_choice(choice, history, focus, labels)
    unit = found.rounds[-1].unit
    rungs = rungs_of(found.sets) if history.putt != NO_PHASE else ()
    putting = pooled_putting([putting_of(one, unit, rungs) for one in possible or (history,)])
    plan = plan_of(
        target,
        asked.minutes,
        drills,
        under_16=asked.under_16,
        success=_success(choice, drills, putting, tests, history),
        curve=putting.curve,
        unit=unit,
        repeat=any(t.phase == choice.number for t in tests),
    )
    began = _began(asked, found.sets, drills, ids)
    said = asked.practised is not None
    effect = effect_of(history, *began, sessions, said=said, possible=possible) if began else None
    return Advice(
        found,
        history,
        focus,
        choice,
        sessions,
        tests,
        plan,
        putting,
        effect,
        practice_results(found.sets, titles_of(drills, ids, unit)),
        possible,
    )


def _found(asked: Asked, store: Store) -> OnePlayer:
    """Return one player's rounds of one game and practice, and the others' rounds of it by alias."""
    from shortpencil.forms.errors import InputError
    from shortpencil.scan.practice.games import game_of, of_one_game

    rounds = store.rounds()
    players = sorted({r.player for r in rounds if r.player})
    _check_player(asked.player, players, store.name)
    mine = [r for r in rounds if asked.player is None or r.player == asked.player]
    game = of_one_game(mine, asked.phases)
    if asked.phases is not None and mine and not game.rounds:
        raise InputError(
            f"{store.name}: expected rounds of the phases {', '.join(asked.phases)}, found none. "
            f"{game.left_out}"
        )
    others: dict[str, list[Round]] = {}
    for r in rounds:
        another = r.player and asked.player is not None and r.player != asked.player
        if another and game.rounds and game_of(r) == game_of(game.rounds[0]):
            others.setdefault(str(r.player), []).append(r)
    sets, told = store.practice(), store.told_sessions()
    own = asked.player
    theirs = _names_of(own, players, sets, told)
    nameless = _nameless(game.rounds, players) if own is None else None
    return OnePlayer(
        list(game.rounds),
        [said for said in (game.left_out, nameless, _ahead(game.rounds)) if said],
        others,
        [s for s in sets if s.player in theirs],
        [s for s in told if s.player in theirs],
        _by_player(sets, own),
        _by_player(told, own),
        store.picture,
    )


def _check_player(own: str | None, players: Sequence[str], store: str) -> None:
    """Refuse a name that no round bears, and none where several do."""
    from shortpencil.forms.errors import InputError

    if own is None and len(players) > 1:
        raise InputError(
            f"{store}: expected one player's rounds, found {len(players)} players: "
            f"{', '.join(players)}. Say which with --player."
        )
    if own is not None and own not in players:
        raise InputError(
            f"{store}: expected rounds of the player {own!r}, found "
            f"{', '.join(players) if players else 'none with a name'}. Check the alias."
        )


def _names_of(
    own: str | None, players: Sequence[str], sets: Sequence[PracticeSet], told: Sequence[ToldSession]
) -> Set[str | None]:
    """Return under which names one player's practice stands: the one asked for, or the only one and none.

    Parameters
    ----------
    own : who was asked for
    players : who is named on rounds
    sets, told : everybody's practice
    """
    if own is not None:
        return {own}
    named = set(players) or {s.player for s in sets if s.player} | {s.player for s in told if s.player}
    return {None, *named} if len(named) == 1 else {None}


def _nameless(rounds: Sequence[Round], players: Sequence[str]) -> str | None:
    """Say that rounds without a name count as those of the only player who is named, where it is so."""
    unnamed = sum(r.player is None for r in rounds)
    if not unnamed or not players:
        return None
    return ngettext(
        "{n} round without a name counts as {player}'s: no other name is in this store. With --player "
        "{player} only those count that bear the name.",
        "{n} rounds without a name count as {player}'s: no other name is in this store. With --player "
        "{player} only those count that bear the name.",
        unnamed,
        player=players[0],
    )


def _ahead(rounds: Sequence[Round]) -> str | None:
    """Say which rounds lie after the day they were read: one slip in a year, and the season ends with it."""
    from shortpencil.scan.practice import words

    ahead = [(r.day, r.id) for r in rounds if r.day and r.lies_ahead]
    if not ahead:
        return None
    day, id_ = max(ahead)
    return ngettext(
        "{n} round lies after the day it was read ({day}, {id}), and the newest day ends the season. Correct "
        "it on the round's page where it is wrong.",
        "{n} rounds lie after the day they were read, up to {day} ({id}), and the newest day ends the "
        "season. Correct them on the rounds' pages where they are wrong.",
        len(ahead),
        day=words.day(day),
        id=id_,
    )


def _by_player(items: Sequence[_Owned], own: str | None) -> dict[str, list[_Owned]]:
    """Return what belongs to players other than `own`, by alias; nothing where no player is asked for."""
    found: dict[str, list[_Owned]] = {}
    for item in items:
        if own is not None and item.player and item.player != own:
            found.setdefault(item.player, []).append(item)
    return found


def _labels(rounds: Sequence[Round], store: Store) -> dict[str, str] | None:
    """Return the causes in the words of the player's own card, the newest round's that has one.

    Those of a built-in card are said in the language that is spoken.
    """
    from shortpencil.forms.causes import causes_of_card
    from shortpencil.forms.errors import RecordError

    for r in reversed(rounds[-3:]):
        try:
            return causes_of_card(store.card(r.id).form.causes) or None
        except RecordError:  # the round came from a file, which keeps no form
            continue
    return None


def _prior(found: OnePlayer, rounds: int) -> PhasePrior | None:
    """Return what the other players suggest, while this one has few rounds."""
    from shortpencil.scan.practice.history import history_of
    from shortpencil.scan.practice.players import LEAST_OTHERS, NEWCOMER_ROUNDS, prior_from

    if rounds >= NEWCOMER_ROUNDS or len(found.others) < LEAST_OTHERS:
        return None
    return prior_from({name: history_of(rounds) for name, rounds in found.others.items()})


def _practised(
    sets: Sequence[PracticeSet], told: Sequence[ToldSession], drills: DrillList, ids: Sequence[str]
) -> tuple[tuple[Session, ...], tuple[OfTen, ...]]:
    """Return one player's sessions and tests in the phases of a game, from practice cards and as told."""
    from shortpencil.scan.practice.sessions import sessions_of, ten_tries_of

    phases = phases_of_drills(drills, ids)
    tested = {**phases, **{d.id: d.phases for d in drills.tests}}
    only = {d: of[0] for d, of in tested.items() if len(of) == 1 and of[0] in ids and _is_test(d, drills)}
    return sessions_of(sets, told, phases, ids), ten_tries_of(
        sets, {d: ids.index(p) for d, p in only.items()}
    )


def phases_of_drills(drills: DrillList, ids: Sequence[str]) -> dict[str, Sequence[str]]:
    """Return the phases that each drill serves, those that stand in where the list has none included."""
    from shortpencil.scan.practice.plan import general_drills, has_drills
    from shortpencil.scan.records.composing.practice_sets import PHASES_OF_SHEETS

    phases: dict[str, Sequence[str]] = dict(PHASES_OF_SHEETS)
    phases |= {d.id: d.phases for d in (*drills.drills, *drills.tests)}
    missing = (general_drills(phase) for phase in ids if not has_drills(drills, phase))
    return phases | {d.id: d.phases for three in missing for d in three}


def _elsewhere(found: OnePlayer, drills: DrillList, ids: Sequence[str]) -> list[str]:
    """Say which practice counts nowhere, since the game of these rounds has no such phase."""
    from shortpencil.scan.practice import words
    from shortpencil.scan.practice.sessions import of_no_phase

    counts = of_no_phase(found.sets, found.told, phases_of_drills(drills, ids), ids)
    return [
        ngettext(
            "{n} session of {many} counts nowhere here: the card of these rounds asks about {asked}.",
            "{n} sessions of {many} count nowhere here: the card of these rounds asks about {asked}.",
            count,
            many=words.MANY[phase],
            asked=words.listing(words.MANY[own] for own in ids),
        )
        for phase, count in counts.items()
    ]


def _is_test(drill: str, drills: DrillList) -> bool:
    listed = {d.id: d.box for d in (*drills.drills, *drills.tests)}
    return listed.get(drill, "test" if drill.endswith("-ten") else "") == "test"


def _laws(found: OnePlayer, drills: DrillList, ids: Sequence[str]) -> Laws | None:
    """Return what the others' rounds say of how practice works, where enough of them have practised."""
    from shortpencil.scan.practice.choice import laws_of_group
    from shortpencil.scan.practice.history import history_of
    from shortpencil.scan.practice.players import LEAST_OTHERS

    practised = sorted({*found.others_sets, *found.others_told} & set(found.others))
    if len(practised) < LEAST_OTHERS:
        return None
    return laws_of_group(
        [
            (
                history_of(found.others[name]),
                *_practised(found.others_sets.get(name, []), found.others_told.get(name, []), drills, ids),
            )
            for name in practised
        ]
    )


def _success(
    choice: Choice, drills: DrillList, putting: Putting, tests: Sequence[OfTen], history: History
) -> float | None:
    """Return the chance of one try of the test as things stand: by the last tests, else by the curve."""
    from shortpencil.scan.practice.sessions import lately

    made, tries = lately(tests, choice.number)
    if tries:
        return made / tries
    if choice.number != history.putt or putting.curve is None:
        return None
    test = next((d for d in drills.tests if choice.phase in d.phases), None)
    if test is None or not test.distances_m:
        return None
    return sum(putting.curve.at(d) for d in test.distances_m) / len(test.distances_m)


def _began(
    asked: Asked, sets: list[PracticeSet], drills: DrillList, ids: Sequence[str]
) -> tuple[int, date] | None:
    """Return which phase was practised since when: as said, or as the practice cards tell."""
    from shortpencil.forms.errors import InputError
    from shortpencil.scan.practice.effect import practised_since

    if asked.practised is not None and asked.since is not None:
        if asked.practised not in ids:
            raise InputError(
                f"--practised: expected one of the phases {', '.join(ids)}, found {asked.practised!r}."
            )
        return ids.index(asked.practised), asked.since
    since = practised_since(sets, phases_of_drills(drills, ids))
    return (ids.index(since[0]), since[1]) if since is not None and since[0] in ids else None


def _pictures(focus: Focus, picture: Callable[[str, str], bytes | None]) -> dict[tuple[str, int], bytes]:
    found = {}
    for w in focus.causes.own_words:
        png = picture(w.round_id, w.picture) if w.picture else None
        if png is not None:
            found[w.round_id, w.hole] = png
    return found


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


#: What cost most at the end of a month follows from this many rounds up to then; older ones count below 1 %.
_FOCUS_ROUNDS = 40


def _foci(rounds: list[Round], history: History, months: int) -> list[tuple[date, str]]:
    """Return what cost most as of the end of each month with rounds."""
    from shortpencil.scan.practice.doubt import possible_histories
    from shortpencil.scan.practice.focus import focus_of
    from shortpencil.scan.practice.history import history_of
    from shortpencil.scan.practice.season import months_with_rounds

    found = []
    for first, count in months_with_rounds(history, months):
        some = rounds[max(0, count - _FOCUS_ROUNDS) : count]
        focus = focus_of(history_of(some), possible=possible_histories(some))
        if focus is not None and not focus.alone:
            found.append((first, focus.phase))
    return found
