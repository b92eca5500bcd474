"""Rounds of an invented year in the short form that a person types: two players, three invented courses.

The names are invented; that no real course bears them is from memory only.
"""

from __future__ import annotations

import random
from datetime import date, timedelta
from typing import Any

FIRST_DAY = date(2025, 11, 8)
#: name, layout, holes, unit of its players' cards
COURSES = (
    ("Thistlewick Common", "long", 18, "m"),
    ("Quern Hollow", "short", 9, "m"),
    ("Ninefold Heath", "", 18, "ft"),
)
PLAYERS = ("Wren", "Ash")
RESOLVES = (
    "hold the finish on windy drives",
    "aim at the chain, not at the basket",
    "slow walk before a putt",
)
WORDS = (
    "grip slipped in the rain",
    "looked up too early",
    "wind from the left, no plan for it",
    "rushed after the wait",
)
CAUSES = ("early", "late", "nose", "tilt", "rushed", "balance", "choice")


def pars(course: str, holes: int) -> list[int]:
    dice = random.Random(f"pars of {course}")
    return [dice.choice((3, 3, 3, 4, 4, 5)) for _ in range(holes)]


def typed_rounds(count: int = 40, seed: int = 17) -> list[dict[str, Any]]:
    """Return rounds, oldest first, two of them on one day; misses fall a little over it."""
    dice = random.Random(seed)
    rounds = []
    day = FIRST_DAY
    for number in range(count):
        course, layout, holes, unit = COURSES[(0, 1, 0, 2, 1)[number % 5]]
        player = PLAYERS[number % 3 == 2]
        if number != 21:  # two rounds of one day
            day += timedelta(days=dice.randint(6, 11))
        else:
            course, layout, holes, unit = COURSES[1]
            player = rounds[-1]["player"]
        rounds.append(_round(dice, number, day, player, course, layout, holes, unit, count))
    return rounds


def _round(
    dice: random.Random,
    number: int,
    day: date,
    player: str,
    course: str,
    layout: str,
    holes: int,
    unit: str,
    count: int,
) -> dict[str, Any]:
    late = number / count
    p_miss = {"drive": 0.30 - 0.05 * late, "approach": 0.22, "putt": 0.42 - 0.14 * late}
    played = [_hole(dice, n, par, unit, p_miss) for n, par in enumerate(pars(course, holes), start=1)]
    misses = {
        phase: sum(t["phase"] == phase and t["execution"] == "miss" for h in played for t in h["throws"])
        for phase in p_miss
    }
    worst = max(misses, key=lambda phase: misses[phase])
    noted = 0
    for hole in played:
        for throw in hole["throws"]:
            if throw["phase"] == worst and throw["execution"] == "miss" and noted < 5:
                throw["directions"] = dice.choice(("left", "right", "long", "short", "left short"))
                throw["cause"] = dice.choice(CAUSES)
                if noted == 0:
                    throw["words"] = dice.choice(WORDS)
                noted += 1
                break
    return {
        "id": f"YEAR{number:04d}",
        "recorded_at": f"{day.isoformat()}T{12 + number % 8:02d}:30:00Z",
        "played_on": day.isoformat(),
        "player": player,
        "course": course,
        **({"layout": layout} if layout else {}),
        "unit": unit,
        "wind": dice.choice(("calm", "breeze", "strong")),
        "worst": worst,
        "tallies": misses,
        "total": sum(hole["score"] for hole in played),
        "notes": {"resolve": dice.choice(RESOLVES)},
        "holes": played,
    }


def _hole(dice: random.Random, number: int, par: int, unit: str, p_miss: dict[str, float]) -> dict[str, Any]:
    def execution(phase: str) -> str:
        return "miss" if dice.random() < p_miss[phase] else "clean"

    throws = [{"phase": "drive", "execution": execution("drive")}]
    for _ in range(max(0, par - 3) + (throws[0]["execution"] == "miss")):
        throws.append({"phase": "approach", "execution": execution("approach")})
    throws = throws[:3]
    near, far = (3, 9) if unit == "m" else (10, 30)
    first = {"phase": "putt", "execution": execution("putt"), "distance": dice.randint(near, far)}
    throws.append(first)
    if first["execution"] == "miss":
        throws.append({"phase": "putt", "execution": "clean", "distance": 2 if unit == "m" else 6})
    penalty = int(dice.random() < 0.05)
    return {
        "number": number,
        "par": par,
        "score": len(throws) + penalty,
        "penalty": penalty,
        "throws": throws,
    }
