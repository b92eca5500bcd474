"""What somebody writes on a card: a round that adds up, and how each mark was made."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np

#: How filled bubbles look: their share on a gentle and on a hard card, and what the reader owes for them.
FILLED = {
    "solid": (0.62, 0.36, "read"),
    "spiral": (0.10, 0.11, "read"),
    "zigzag": (0.10, 0.11, "read"),
    "tick": (0.05, 0.10, "read"),
    "cross": (0.04, 0.08, "read"),
    "overflow": (0.07, 0.08, "read"),
    "faint": (0.01, 0.04, "read or ask"),
    "dot": (0.0, 0.04, "read or ask"),
    "dash": (0.0, 0.03, "read or ask"),
    "slash": (0.01, 0.03, "read or ask"),
    "ring": (0.0, 0.02, "read or ask"),
}


@dataclass(slots=True)
class Truth:
    """One cell: what was meant, how it was made, and what the reader owes: read, read or ask, ask."""

    value: Any
    mark: str
    owed: str = "read"
    pen: str = ""
    meant: Any = None

    def as_json(self) -> dict[str, Any]:
        """The cell as the truth file states it."""
        out = {"value": self.value, "mark": self.mark, "owed": self.owed}
        if self.pen:
            out["pen"] = self.pen
        if self.meant is not None:
            out["meant"] = self.meant
        return out


def meanings(rng: np.random.Generator, field_map: dict[str, Any]) -> dict[str, Any]:
    """What the player means: field id -> option id(s) or number; absent fields stay empty."""
    fields, rows = field_map["fields"], field_map["rows"]
    say: dict[str, Any] = {}
    skill = rng.beta(2, 2)
    straddles, distances_kept = rng.random() < 0.3, rng.random() < 0.85
    feet = field_map["unit"] == "ft"
    misses = {"drive": 0, "approach": 0, "putt": 0}
    total, missed_rows = 0, {"drive": [], "approach": [], "putt": []}
    for i in range(rows["count"]):
        hole = f"{rows['prefix']}{i + 1:02d}"
        throws: list[tuple[str, bool]] = [("drive", rng.random() < 0.35 + 0.3 * skill)]
        for k in range(int(rng.choice(4, p=[0.42, 0.38, 0.15, 0.05]))):
            throws.append((f"approach{k + 1}", rng.random() < 0.5 + 0.3 * skill))
        putts = int(rng.choice([1, 2, 3], p=[0.5, 0.4, 0.1]))
        for k in range(putts):
            throws.append((f"putt{k + 1}", rng.random() < (0.85 if k == putts - 1 else 0.3)))
        penalty = int(rng.choice(3, p=[0.92, 0.07, 0.01]))
        for name, clean in throws:
            if f"{hole}.{name}" in fields:
                answer = "clean" if clean else "miss"
                if answer in [option["id"] for option in fields[f"{hole}.{name}"]["options"]]:
                    say[f"{hole}.{name}"] = answer  # some cards have bubbles for misses alone
                phase = name.rstrip("0123456789")
                if not clean:
                    misses[phase] += 1
                    if hole not in missed_rows[phase]:
                        missed_rows[phase].append(hole)
        if penalty:
            say[f"{hole}.penalty"] = str(penalty)
        say[f"{hole}.score"] = len(throws) + penalty
        total += len(throws) + penalty
        if f"{hole}.par" in fields and rng.random() < 0.3:
            say[f"{hole}.par"] = int(rng.choice([3, 4, 5], p=[0.8, 0.15, 0.05]))
        if distances_kept:
            far = float(rng.gamma(2.5, 3.2)) + 1
            for k in range(min(putts, 2)):
                far_here = far if k == 0 else float(rng.gamma(2, 1.3)) + 1
                if rng.random() < 0.95:
                    say[f"{hole}.putt{k + 1}.distance"] = int(
                        np.clip(far_here * (3.28 if feet else 1), 1, 99)
                    )
        if straddles and rng.random() < 0.3:
            say[f"{hole}.putt1.stance"] = "straddle"
    if rng.random() < 0.93:
        for phase, n in misses.items():
            say[f"tally.{phase}"] = n if rng.random() < 0.96 else max(0, n + int(rng.choice([-1, 1])))
        say["total"] = total if rng.random() < 0.95 else total + int(rng.choice([-1, 1]))
    worst = max(misses, key=lambda p: misses[p])
    if rng.random() < 0.95:
        say["worst"] = worst
    for hole in missed_rows[worst]:
        if rng.random() < 0.9:
            ways = [
                str(w)
                for w in rng.choice(
                    ["left", "right", "long", "short"], size=1 + (rng.random() < 0.2), replace=False
                )
            ]
            say[f"{hole}.way"] = ways
            if rng.random() < 0.15:
                say[f"{hole}.forehand"] = "yes"
            if rng.random() < 0.85:
                say[f"{hole}.why"] = int(rng.integers(0, 10))
            if rng.random() < 0.6:
                say[f"{hole}.words"] = True
    say |= {
        "date.day": int(rng.integers(1, 29)),
        "date.month": int(rng.integers(1, 13)),
        "date.year": int(rng.integers(23, 28)),
    }
    if rng.random() < 0.6:
        say["hand"] = "right" if rng.random() < 0.85 else "left"
    if rng.random() < 0.6:
        say["wind"] = str(rng.choice(["calm", "breeze", "strong"]))
    for words in ("player", "course", "resolve"):
        if rng.random() < 0.8:
            say[words] = True
    return {key: value for key, value in say.items() if key in fields}


def sheet_meanings(rng: np.random.Generator, field_map: dict[str, Any]) -> dict[str, Any]:
    """What the player means on a practice sheet: a putting ladder, throws on a field, a session's drills."""
    fields, rows = field_map["fields"], field_map["rows"]
    say: dict[str, Any] = {}
    for name in fields:
        if name.startswith("made.") and rng.random() < 0.85:
            say[name] = int(rng.binomial(int(name.split(".")[2]), rng.uniform(0.3, 0.95)))
    skill, far = rng.uniform(0.3, 0.95), float(rng.integers(2, 6))
    thrown = (
        rows["count"] if rows["count"] < 3 or rng.random() < 0.6 else int(rng.integers(3, rows["count"] + 1))
    )
    best, clean = None, 0
    for i in range(thrown):
        row = f"{rows['prefix']}{i + 1:02d}"
        if f"{row}.dropped" in fields:
            far += float(rng.integers(1, 4)) * (3 if field_map["unit"] == "ft" else 1)
            dropped = rng.random(10) < skill * np.exp(-0.06 * i)
            say[f"{row}.distance"] = min(int(far), 99)
            say[f"{row}.dropped"] = [str(k + 1) for k in np.flatnonzero(dropped)]
            made = int(dropped.sum())
            if rng.random() < 0.9:
                say[f"{row}.made"] = made if rng.random() < 0.96 else max(0, made + int(rng.choice([-1, 1])))
            if rng.random() < 0.5:
                say[f"{row}.felt"] = str(rng.choice(["steady", "rushed"]))
            best = i + 1 if made >= 7 else best
        else:
            well = rng.random() < skill
            clean += well
            say[f"{row}.kind"] = "backhand" if rng.random() < 0.7 else "forehand"
            say[f"{row}.tilt"] = str(rng.choice(["hyzer", "flat", "anhyzer"]))
            say[f"{row}.execution"] = "clean" if well else "miss"
            say[f"{row}.distance"] = int(np.clip(rng.normal(70, 18), 20, 140))
            if rng.random() < 0.5:
                say[f"{row}.off"] = str(rng.choice(["left", "right"]))
            say[f"{row}.words"] = rng.random() < 0.3
    if best is not None and rng.random() < 0.9:
        say["best"] = best
    if rng.random() < 0.9:
        say["clean"] = clean
    say |= {
        "date.day": int(rng.integers(1, 29)),
        "date.month": int(rng.integers(1, 13)),
        "date.year": int(rng.integers(24, 28)),
        "wind": str(rng.choice(["calm", "breeze", "strong"])),
        "player": rng.random() < 0.8,
        "resolve": rng.random() < 0.5,
    }
    return {key: value for key, value in say.items() if key in fields}


def truths(
    rng: np.random.Generator, field_map: dict[str, Any], say: dict[str, Any], hardness: float
) -> dict[str, Truth]:
    """How each cell looks in the end: cell id -> truth. ``hardness`` 0 (gentle) to 1."""
    fields = field_map["fields"]
    of_field: dict[str, list[str]] = {}
    for cell in field_map["cells"]:
        of_field.setdefault(cell["field"], []).append(cell["id"])
    out: dict[str, Truth] = {}
    names = list(FILLED)
    share = np.array([(1 - hardness) * FILLED[n][0] + hardness * FILLED[n][1] for n in names])
    habit = rng.dirichlet(0.6 * share / share.sum() * len(names) + 1e-3)  # a person has a way of marking
    share = 0.5 * share / share.sum() + 0.5 * habit
    share /= share.sum()

    def filled() -> Truth:
        name = str(rng.choice(names, p=share))
        return Truth(True, name, FILLED[name][2])

    for field, cells in of_field.items():
        kind, meant = fields[field]["type"], say.get(field)
        if kind == "words":
            continue
        if kind == "number":
            text = "" if meant is None else str(meant).zfill(2) if field.startswith("date.") else str(meant)
            text = text[-len(cells) :].rjust(len(cells))
            for cell, ch in zip(cells, text, strict=True):
                if ch == " ":
                    out[cell] = Truth(None, "blank")
                    continue
                roll = rng.random()
                if roll < 0.004 + 0.012 * hardness:
                    out[cell] = Truth(int(ch), "overwritten", "ask")
                elif roll < 0.006 + 0.02 * hardness:
                    out[cell] = Truth(None, "scribbled_out", "ask", meant=int(ch))
                elif roll < 0.01 + 0.06 * hardness:
                    out[cell] = Truth(int(ch), "digit_tail", "read or ask")
                else:
                    out[cell] = Truth(int(ch), "digit")
            continue
        chosen = [
            f"{field}.{m}"
            for m in (meant if isinstance(meant, list) else [meant] if meant is not None else [])
        ]
        for cell in cells:
            out[cell] = filled() if cell in chosen else Truth(False, "empty")
        free = [c for c in cells if c not in chosen]
        roll = rng.random()
        if chosen and free and kind == "choose-one" and roll < 0.004 + 0.016 * hardness:
            out[free[0]] = Truth(False, "cancelled", "read or ask")
            out[chosen[0]] = Truth(True, "after_cancel", "read or ask")
        elif chosen and free and kind == "choose-one" and roll < 0.005 + 0.021 * hardness:
            for cell in (free[0], chosen[0]):
                out[cell] = Truth(out[cell].value, "double", "ask")
        elif free and roll < 0.012 + 0.06 * hardness:
            out[free[int(rng.integers(len(free)))]] = Truth(
                False, str(rng.choice(["erased", "speck"])), "read"
            )
        elif not chosen and rng.random() < 0.002 + 0.006 * hardness:
            out[cells[0]] = Truth(False, "cancelled_alone", "read or ask")
    return out
