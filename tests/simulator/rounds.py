"""Invented rounds of an invented player, as answers to the fields of any card.

The sums hold (score = throws + penalties, tally = misses, total = scores) unless a slip is asked for. The
field map alone says what is asked; nothing here knows a card by name.
"""

from __future__ import annotations

import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from typing import Any

import numpy as np

Rng = np.random.Generator

#: What a field may hold: an option's id, several, a number, words, nothing.
Answer = str | tuple[str, ...] | int | None
FieldMap = Mapping[str, Any]

PHASE_OF = {
    "drive": "drive",
    "approach1": "approach",
    "approach2": "approach",
    "putt1": "putt",
    "putt2": "putt",
    "putt3": "putt",
}

_NOTES = (
    "late",
    "early",
    "rushed it",
    "wind",
    "nose up",
    "too soft",
    "too hard",
    "looked up",
    "slipped",
    "bad grip",
    "wrong disc",
    "low branch",
    "tired",
    "off balance",
    "pulled it",
    "no follow through",
    "wobble",
    "short step",
    "left wind",
    "headwind",
    "wet disc",
    "stance narrow",
    "no routine",
    "eyes off chains",
)


@dataclass(frozen=True, slots=True)
class Player:
    """Who throws: chances and habits.

    Attributes
    ----------
    miss : phase -> chance that a throw is not executed as planned
    why : cause digits of this player, likeliest first
    forgets : chance that a throw's mark is missing; notes : chance of words beside a miss
    slip : chance that a sum is added wrongly
    """

    alias: str = "Birch"
    miss: Mapping[str, float] = field(default_factory=lambda: {"drive": 0.30, "approach": 0.28, "putt": 0.33})
    why: tuple[int, ...] = (2, 5, 1, 7, 3)
    forehand: float = 0.15
    straddle: float = 0.12
    forgets: float = 0.012
    notes: float = 0.4
    distances: float = 0.8
    slip: float = 0.03


def some_player(rng: Rng, alias: str = "Birch") -> Player:
    """Return a player with chances of their own."""
    return Player(
        alias=alias,
        miss={p: float(rng.uniform(0.15, 0.45)) for p in ("drive", "approach", "putt")},
        why=tuple(int(v) for v in rng.permutation(10)[:5]),
        forehand=float(rng.uniform(0.05, 0.35)),
        straddle=float(rng.uniform(0.0, 0.3)),
        notes=float(rng.uniform(0.1, 0.7)),
        distances=float(rng.uniform(0.3, 1.0)),
        forgets=float(rng.choice([0.0, 0.01, 0.04])),
    )


def cells_of(field_map: FieldMap) -> dict[str, list[dict[str, Any]]]:
    """Field id -> its cells in the map's order."""
    cells: dict[str, list[dict[str, Any]]] = {name: [] for name in field_map["fields"]}
    for cell in field_map["cells"]:
        cells[cell["field"]].append(cell)
    return cells


def options_of(field_id: str, cells: Sequence[Mapping[str, Any]]) -> list[str]:
    """Option ids of a choice, from the ids of its cells."""
    return [str(cell["id"])[len(field_id) + 1 :] for cell in cells]


@dataclass(frozen=True, slots=True)
class _Hole:
    par: int
    throws: tuple[tuple[str, bool], ...]  # (phase, executed as planned)
    putt_m: tuple[float, ...]
    penalties: int

    @property
    def score(self) -> int:
        return len(self.throws) + self.penalties


def round_answers(
    field_map: FieldMap,
    player: Player,
    seed: int,
    *,
    date: tuple[int, int, int] = (7, 6, 2026),
    pars: Mapping[str, int] | None = None,
    unit: str = "m",
    words: Mapping[str, str] | None = None,
) -> dict[str, Answer]:
    """Return one round as answers, field by field; fields left empty are absent.

    Parameters
    ----------
    date : day, month, year
    pars : hole id ("h07") -> par, where the layout is printed in; drawn at random for other holes
    unit : "m" or "ft", in which distances are written
    words : answers for named fields of words (head of the card)
    """
    rng = np.random.default_rng([seed, 4])
    cells = cells_of(field_map)
    answers: dict[str, Answer] = {}
    holes = sorted({m.group(1) for m in (re.match(r"(h\d\d)\.score$", f) for f in cells) if m})
    played = {h: _hole(player, (pars or {}).get(h), rng) for h in holes}
    for name, hole in played.items():
        _first_pass(answers, cells, name, hole, player, unit, rng)
    misses = _sums(answers, cells, holes, player, rng)
    _second_pass(answers, cells, field_map, holes, misses, player, rng)
    _head(answers, cells, field_map, date, unit, words or {}, rng)
    return {name: value for name, value in answers.items() if value is not None and name in cells}


def _hole(player: Player, par: int | None, rng: Rng) -> _Hole:
    par = par or int(rng.choice([3, 4, 5], p=[0.74, 0.19, 0.07]))

    def throw(phase: str) -> tuple[str, bool]:
        return phase, bool(rng.random() > player.miss[phase])

    throws = [throw("drive")]
    if rng.random() < 0.002:
        return _Hole(par, tuple(throws), (), 0)
    trouble = 0.78 if not throws[0][1] else 0.42
    approaches = (par - 3) + int(rng.random() < trouble) + int(rng.random() < 0.05)
    throws += [throw("approach") for _ in range(approaches)]
    putts: list[float] = []
    if not (approaches and rng.random() < 0.012):
        distance = float(np.clip(rng.gamma(2.2, 3.0), 1.0, 24.0))
        while len(putts) < 6:
            putts.append(distance)
            made = bool(rng.random() < 1.0 / (1.0 + np.exp((distance - 6.2) / 1.8)))
            # The result says little about execution, but it says something.
            miss = player.miss["putt"] * (0.7 if made else 1.3)
            throws.append(("putt", bool(rng.random() > miss)))
            if made:
                break
            distance = float(np.clip(rng.gamma(2.0, 1.3), 0.6, 9.0))
    penalties = int(rng.choice([0, 1, 2], p=[0.935, 0.058, 0.007]))
    return _Hole(par, tuple(throws), tuple(putts), penalties)


def _first_pass(
    answers: dict[str, Answer],
    cells: Mapping[str, Sequence[Mapping[str, Any]]],
    name: str,
    hole: _Hole,
    player: Player,
    unit: str,
    rng: Rng,
) -> None:
    answers[f"{name}.par"] = hole.par
    answers[f"{name}.score"] = hole.score
    if hole.penalties:
        answers[f"{name}.penalty"] = str(hole.penalties)
    columns = {
        phase: [c for c, p in PHASE_OF.items() if p == phase and f"{name}.{c}" in cells]
        for phase in player.miss
    }
    for phase, clean in hole.throws:
        if not columns[phase]:
            continue  # more throws than columns: the score says how many
        column = columns[phase].pop(0)
        if rng.random() >= player.forgets:
            answers[f"{name}.{column}"] = "clean" if clean else "miss"
    per_unit = 1.0 if unit == "m" else 0.3048
    for i, metres in enumerate(hole.putt_m[:2], start=1):
        at = f"{name}.putt{i}.distance"
        if at in cells and rng.random() < player.distances:
            answers[at] = min(max(round(metres / per_unit), 1), 10 ** len(cells[at]) - 1)
    stance = f"{name}.putt1.stance"
    if hole.putt_m and stance in cells and rng.random() < player.straddle:
        answers[stance] = options_of(stance, cells[stance])[0]


def _sums(
    answers: dict[str, Answer],
    cells: Mapping[str, Sequence[Mapping[str, Any]]],
    holes: Sequence[str],
    player: Player,
    rng: Rng,
) -> dict[str, list[str]]:
    """Tallies, total and worst phase as this player adds them; returns the holes with misses by phase."""

    def added(true: int) -> int:
        return max(true + int(rng.choice([-1, 1])), 0) if rng.random() < player.slip else true

    misses: dict[str, list[str]] = {"drive": [], "approach": [], "putt": []}
    for hole in holes:
        for column, phase in PHASE_OF.items():
            if answers.get(f"{hole}.{column}") == "miss":
                misses[phase].append(hole)
    for phase, where in misses.items():
        if f"tally.{phase}" in cells:
            answers[f"tally.{phase}"] = added(len(where))
    if "total" in cells and holes:
        answers["total"] = added(sum(int(str(answers[f"{h}.score"])) for h in holes))
    if "worst" in cells and any(misses.values()):
        answers["worst"] = max(misses, key=lambda p: len(misses[p]))
    return misses


def _second_pass(
    answers: dict[str, Answer],
    cells: Mapping[str, Sequence[Mapping[str, Any]]],
    field_map: FieldMap,
    holes: Sequence[str],
    misses: Mapping[str, Sequence[str]],
    player: Player,
    rng: Rng,
) -> None:
    worst = answers.get("worst")
    if not isinstance(worst, str):
        return
    weights = np.array([0.45, 0.25, 0.15, 0.1, 0.05][: len(player.why)])
    for hole in holes:
        if hole not in misses[worst]:
            continue
        way = f"{hole}.way"
        if way in cells and rng.random() < 0.94:
            answers[way] = _ways(options_of(way, cells[way]), field_map["fields"][way]["type"], rng)
        hand = f"{hole}.forehand"
        if hand in cells and rng.random() < player.forehand:
            answers[hand] = options_of(hand, cells[hand])[0]
        if f"{hole}.why" in cells and rng.random() < 0.92:
            answers[f"{hole}.why"] = int(rng.choice(player.why, p=weights / weights.sum()))
        if f"{hole}.words" in cells and rng.random() < player.notes:
            answers[f"{hole}.words"] = str(rng.choice(_NOTES))


def _ways(options: Sequence[str], kind: str, rng: Rng) -> Answer:
    """One way, or where the form allows it now and then two that go together, as in left and short."""
    one = str(rng.choice(options))
    if kind == "choose-one":
        return one
    opposite = {"left": "right", "right": "left", "long": "short", "short": "long"}
    beside = [o for o in options if o not in (one, opposite.get(one))]
    if beside and rng.random() < 0.2:
        return _in_order(options, one, str(rng.choice(beside)))
    return (one,)


def _in_order(options: Sequence[str], *chosen: str) -> tuple[str, ...]:
    return tuple(o for o in options if o in chosen)


def _head(
    answers: dict[str, Answer],
    cells: Mapping[str, Sequence[Mapping[str, Any]]],
    field_map: FieldMap,
    date: tuple[int, int, int],
    unit: str,
    words: Mapping[str, str],
    rng: Rng,
) -> None:
    """Date and whatever else stands outside the rows."""
    for name, value in zip(("date.day", "date.month", "date.year"), date, strict=True):
        if name not in cells:
            continue
        if field_map["fields"][name]["type"] == "number":
            answers[name] = value % 10 ** len(cells[name])
        else:
            fitting = [
                o for o in options_of(name, cells[name]) if o.isdigit() and int(o) in (value, value % 100)
            ]
            answers[name] = fitting[0] if fitting else None
    known = ("tally.", "total", "worst", "date.")
    for name, about in field_map["fields"].items():
        if name in answers or name.startswith(known) or re.match(r"h\d\d\.", name):
            continue
        kind = about["type"]
        if kind == "words":
            answers[name] = words.get(name)
        elif kind == "number":
            answers[name] = int(rng.integers(0, 10 ** len(cells[name]))) if rng.random() < 0.8 else None
        elif name == "unit":
            answers[name] = unit if unit in options_of(name, cells[name]) else None
        elif rng.random() < 0.85:
            options = options_of(name, cells[name])
            one = str(rng.choice(options))
            answers[name] = one if kind == "choose-one" else (one,)
