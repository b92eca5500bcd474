"""Writers: one hand's digits, words and habits as pen strokes.

Digits come from real handwriting (`glyphs`). One writer keeps to samples that lean alike, and adds habits
that the sample set lacks (flagged 1, crossed 7, open 4, slashed 0).
"""

from __future__ import annotations

from dataclasses import dataclass, field, replace

import numpy as np
from numpy.typing import NDArray

from tests.simulator.glyphs import GlyphBank
from tests.simulator.letters import curve, lettering
from tests.simulator.marks import WIDE_FILLS, BoxMm, path
from tests.simulator.pens import PENS, Pen, Stroke, some_pen

Rng = np.random.Generator
Points = NDArray[np.float64]


def _styled(digit: int, style: str, rng: Rng) -> list[Points]:
    """Our own drawings of forms that the sample set hardly has, in the frame of `Glyph`, jittered."""
    shapes: dict[tuple[int, str], list[Points]] = {
        (0, "slashed"): [
            curve(
                (0.05, -0.5),
                (-0.3, -0.42),
                (-0.34, 0.1),
                (-0.2, 0.52),
                (0.16, 0.52),
                (0.34, 0.1),
                (0.3, -0.42),
                (0.0, -0.52),
            ),
            curve((0.3, -0.5), (-0.28, 0.52)),
        ],
        (1, "flag"): [np.array([(-0.24, -0.18), (0.08, -0.5), (0.06, 0.5)])],
        (1, "based"): [
            np.array([(-0.2, -0.24), (0.04, -0.5), (0.02, 0.5)]),
            np.array([(-0.24, 0.5), (0.26, 0.49)]),
        ],
        (1, "plain"): [np.array([(0.02, -0.5), (0.0, 0.0), (-0.02, 0.5)])],
        (4, "open"): [
            np.array([(-0.18, -0.5), (-0.32, 0.12), (0.34, 0.1)]),
            np.array([(0.16, -0.34), (0.1, 0.5)]),
        ],
        (4, "closed"): [np.array([(0.1, 0.5), (0.14, -0.5), (-0.34, 0.16), (0.34, 0.15)])],
        (7, "crossed"): [
            np.array([(-0.3, -0.46), (0.32, -0.48), (0.0, 0.1), (-0.1, 0.5)]),
            np.array([(-0.2, 0.03), (0.26, 0.0)]),
        ],
        (9, "straight"): [
            curve((0.26, -0.4), (-0.02, -0.56), (-0.34, -0.3), (-0.16, 0.02), (0.14, -0.06), (0.27, -0.38)),
            np.array([(0.27, -0.42), (0.24, 0.5)]),
        ],
        (2, "looped"): [
            curve((-0.3, -0.3), (-0.1, -0.56), (0.34, -0.46), (0.22, -0.02), (-0.36, 0.54), (-0.2, 0.3))[:-2],
            curve((-0.32, 0.47), (-0.05, 0.36), (0.12, 0.5), (0.36, 0.42)),
        ],
        (6, "tall"): [
            curve(
                (0.16, -0.5),
                (-0.2, -0.25),
                (-0.34, 0.3),
                (-0.05, 0.58),
                (0.32, 0.32),
                (0.08, 0.02),
                (-0.28, 0.24),
            )
        ],
        (5, "two-stroke"): [
            curve((-0.2, -0.48), (-0.24, -0.06), (0.1, -0.2), (0.4, 0.2), (0.1, 0.56), (-0.32, 0.42)),
            np.array([(-0.2, -0.47), (0.3, -0.5)]),
        ],
        (3, "flat-top"): [
            np.array([(-0.28, -0.48), (0.28, -0.5), (-0.02, -0.08)]),
            curve((-0.02, -0.08), (0.36, -0.02), (0.3, 0.46), (-0.02, 0.58), (-0.32, 0.38)),
        ],
    }
    warp = np.eye(2) + rng.normal(0, 0.05, (2, 2))
    return [(p + rng.normal(0, 0.018, p.shape)) @ warp.T for p in shapes[(digit, style)]]


STYLES: dict[int, tuple[str, ...]] = {
    0: ("slashed",),
    1: ("flag", "based", "plain"),
    2: ("looped",),
    3: ("flat-top",),
    4: ("open", "closed"),
    5: ("two-stroke",),
    6: ("tall",),
    7: ("crossed",),
    9: ("straight",),
}


@dataclass(frozen=True, slots=True)
class Writer:
    """One hand: how big, how slanted, how hard, with which pen, how careful, and which digits are its own.

    Attributes
    ----------
    size : digit height as a share of the box height
    slant : x per y; drift_mm and jitter_mm : habitual and random miss of the middle of a box
    styles : digit -> name in `STYLES`, where this hand has a form of its own
    samples : digit -> indices into the bank, all leaning alike
    mark_shares : kind of bubble mark -> how often
    bends : digit -> how this hand bends it, as `_bent` takes it; `restless` how much each time anew
    """

    pen: Pen
    size: float
    slant: float
    widen: float
    pressure: float
    shake_mm: float
    drift_mm: tuple[float, float]
    jitter_mm: float
    turn_deg: float
    styles: dict[int, str] = field(default_factory=dict)
    samples: dict[int, tuple[int, ...]] = field(default_factory=dict)
    mark_shares: dict[str, float] = field(default_factory=dict)
    careful: float = 0.7
    bends: dict[int, Points] = field(default_factory=dict)
    restless: float = 0.0

    def with_pen(self, pen: Pen) -> Writer:
        return replace(self, pen=pen)


#: Share of hands that write a digit in a form of their own; guesses, on the generous side.
_STYLE_SHARE = {0: 0.08, 1: 0.45, 2: 0.12, 3: 0.12, 4: 0.4, 5: 0.2, 6: 0.15, 7: 0.4, 9: 0.3}


def some_writer(
    rng: Rng,
    bank: GlyphBank | None,
    *,
    pen: Pen | None = None,
    careful: float | None = None,
    share_styled: float = 1.0,
) -> Writer:
    """Return a hand.

    Parameters
    ----------
    bank : digits to take samples from; None draws every digit in our own forms (no 8 then: taken as plain)
    careful : 0 sloppy to 1 neat; drawn at random if None
    share_styled : factor on how often a hand has forms of its own; 0 leaves only the bank's samples
    """
    care = float(rng.beta(3.0, 1.8)) if careful is None else careful
    slant = float(rng.normal(0.18, 0.16))
    styles = {
        d: str(rng.choice(names))
        for d, names in STYLES.items()
        if rng.random() < _STYLE_SHARE[d] * share_styled
    }
    samples = {} if bank is None else {d: _alike(bank, d, slant, rng) for d in range(10)}
    return Writer(
        pen=pen or some_pen(rng),
        size=float(np.clip(rng.normal(0.70, 0.09), 0.48, 0.95)),
        slant=slant,
        widen=float(np.clip(rng.normal(1.0, 0.1), 0.75, 1.25)),
        pressure=float(np.clip(rng.normal(0.52, 0.09), 0.32, 0.8)),
        shake_mm=0.03 + 0.10 * (1 - care) * float(rng.uniform(0.4, 1.0)),
        drift_mm=(float(rng.normal(0, 0.25)), float(rng.normal(0, 0.25))),
        jitter_mm=0.10 + 0.35 * (1 - care),
        turn_deg=float(rng.normal(0, 2.5)),
        styles=styles,
        samples=samples,
        mark_shares=_mark_habits(rng, care),
        careful=care,
    )


def _mark_habits(rng: Rng, care: float) -> dict[str, float]:
    """One main way to fill a bubble, and lapses: the sloppier the more."""
    if rng.random() < 0.25 + 0.65 * care:
        main = str(rng.choice(["solid", "scribble", "spiral", "partial"], p=[0.5, 0.3, 0.12, 0.08]))
    else:
        main = str(
            rng.choice(["scribble", "cross", "tick", "overrun", "dash"], p=[0.3, 0.3, 0.12, 0.2, 0.08])
        )
    lapse = 0.03 + 0.20 * (1 - care)
    shares = {"solid": 0.25, "scribble": 0.35, "partial": 0.2, "overrun": 0.2}
    if care < 0.55:
        shares = {**shares, "cross": 0.15, "dash": 0.1}
    total = sum(shares.values())
    habits = {k: lapse * v / total for k, v in shares.items()}
    habits[main] = habits.get(main, 0.0) + 1.0 - lapse
    return habits


def wider(writer: Writer, rng: Rng) -> Writer:
    """The same hand marking bubbles in any way of `gestures` or its own, with any pen, thicker or paler too.

    For learning from: wider than one should believe in.
    """
    own = rng.uniform(0.0, 1.0)
    weights = rng.dirichlet(np.full(len(WIDE_FILLS), 0.15))
    shares = {kind: own * share for kind, share in writer.mark_shares.items()}
    shares |= {kind: (1 - own) * float(share) for kind, share in zip(WIDE_FILLS, weights, strict=True)}
    pen = PENS[str(rng.choice(list(PENS)))] if rng.random() < 0.6 else writer.pen
    dark = float(rng.uniform(0.7, 1.25))
    pen = pen.made(float(rng.uniform(0.75, 1.35)), dark, float(rng.uniform(0.5, 1.6)))
    pen = _on_other_paper(pen, rng)
    much = float(rng.uniform(0.0, 0.06))
    sizes = np.array([much, 1.0])[:, None, None, None]
    return replace(
        writer,
        mark_shares=shares,
        pen=pen,
        bends={digit: rng.normal(0, 1, _BEND) * sizes for digit in range(10)},
        restless=float(rng.uniform(0.0, 0.015)),
        widen=writer.widen * float(rng.uniform(0.8, 1.2)),
    )


def _on_other_paper(pen: Pen, rng: Rng) -> Pen:
    """The same pen on coarser paper, a lead that catches on its tooth alone, a ball that leaves nothing."""
    return replace(
        pen,
        grain=pen.grain * float(rng.uniform(0.7, 1.9)),
        coarse=float(rng.choice([1.0, 1.5, 2.2])),
        soft=float(rng.uniform(0.2, 0.6)),
        left=float(rng.uniform(0.0, 0.3)),
        skip_mm=float(rng.uniform(0.25, 0.7)),
    )


#: Amplitudes in heights of a digit and phases, of waves along x and y, added to x and y.
_BEND = (2, 2, 2, 3)
#: Of these waves, radians a height of a digit: loops and stems change, digits stay themselves.
_BEND_RATES = np.array([2.0, 3.5, 5.0])


def _bent(points: Points, bend: Points) -> Points:
    """Points (N, 2) of a digit of height 1, moved by the waves `bend` of shape `_BEND`."""
    amplitudes, phases = bend
    waves = np.sin(points[:, None, :, None] * _BEND_RATES + 3 * phases)
    moved: Points = points + (amplitudes * waves).sum(axis=(2, 3))
    return moved


def _alike(bank: GlyphBank, digit: int, slant: float, rng: Rng, count: int = 4) -> tuple[int, ...]:
    """Some of the bank's samples of a digit that lean about as much as this hand."""
    pool = bank.by_digit[digit]
    tried = rng.choice(pool, size=min(24, len(pool)), replace=False)
    near = tried[np.argsort(np.abs(bank.slant[tried] - slant))[: count * 2]]
    usable = [int(i) for i in rng.permutation(near) if bank.glyph(int(i)) is not None]
    return tuple(usable[:count])


def digit_strokes(
    digit: int,
    box: BoxMm,
    writer: Writer,
    rng: Rng,
    bank: GlyphBank | None,
) -> list[Stroke]:
    """One digit of this hand in a box (x, y, w, h in mm)."""
    x, y, w, h = box
    height = h * writer.size * float(rng.normal(1.0, 0.05))
    if digit in writer.styles and (bank is None or rng.random() < 0.92):
        paths = _styled(digit, writer.styles[digit], rng)
        lean = _lean(writer.slant * 0.8)
        weights = [np.ones(len(p)) for p in paths]
        paths = [p @ lean.T for p in paths]
    else:
        paths, weights = _sampled(digit, writer, rng, bank)
    if digit in writer.bends:
        anew = rng.normal(0, writer.restless, _BEND[1:])
        bend = writer.bends[digit] + np.stack([anew, np.zeros_like(anew)])
        paths = [_bent(p, bend) for p in paths]
    everything = np.concatenate(paths)
    width = max(float(np.ptp(everything[:, 0])) * height * writer.widen, 0.3)
    # A hand squeezes a wide digit into the box rather than write over the edge, if it is careful.
    fit = min(1.0, (w * (0.9 + 0.15 * (1 - writer.careful))) / width)
    turn = np.radians(writer.turn_deg + float(rng.normal(0, 2.0)))
    rotate = np.array([[np.cos(turn), -np.sin(turn)], [np.sin(turn), np.cos(turn)]])
    stretch = np.diag([height * writer.widen * fit, height])
    centre = np.array([x + w / 2, y + h / 2]) + np.array(writer.drift_mm) + rng.normal(0, writer.jitter_mm, 2)
    strokes = []
    for p, weight in zip(paths, weights, strict=True):
        placed = centre + p @ (rotate @ stretch).T
        stroke = path(placed, rng, writer.pressure, writer.shake_mm)
        swell = np.interp(np.linspace(0, 1, len(stroke.pressure)), np.linspace(0, 1, len(weight)), weight)
        strokes.append(Stroke(stroke.points_mm, np.clip(stroke.pressure * (0.5 + 0.5 * swell), 0.03, 1.0)))
    return strokes


def _sampled(
    digit: int, writer: Writer, rng: Rng, bank: GlyphBank | None
) -> tuple[list[Points], list[NDArray[np.float64]]]:
    indices = writer.samples.get(digit, ())
    if bank is None or not indices:
        name = str(rng.choice(STYLES[digit])) if digit in STYLES else "plain"
        paths = _styled(digit, name, rng) if digit in STYLES else _plain_eight(rng)
        return paths, [np.ones(len(p)) for p in paths]
    glyph = bank.glyph(int(rng.choice(indices)))
    assert glyph is not None, "a writer's samples all have glyphs"
    warp = np.eye(2) + rng.normal(0, 0.03, (2, 2))
    return [p @ warp.T for p in glyph.paths], list(glyph.weight)


def _plain_eight(rng: Rng) -> list[Points]:
    t = np.linspace(0.4, 2 * np.pi + 0.4, 40)
    p = np.column_stack([0.27 * np.sin(2 * t) * (1.0 + 0.12 * np.cos(t)), -0.5 * np.cos(t)])
    return [p + rng.normal(0, 0.006, p.shape)]


def _lean(slant: float) -> Points:
    return np.array([[1.0, -slant], [0.0, 1.0]])


def scribbled_out(box: BoxMm, rng: Rng, pressure: float = 0.6) -> list[Stroke]:
    """A digit struck out: a zigzag over the whole box."""
    x, y, w, h = box
    count = int(rng.integers(6, 11))
    ys = np.linspace(y + 0.12 * h, y + 0.88 * h, count) + rng.normal(0, 0.2, count)
    xs = np.where(np.arange(count) % 2 == 0, x + 0.1 * w, x + 0.9 * w) + rng.normal(0, 0.25, count)
    return [path(np.column_stack([xs, ys]), rng, pressure, 0.08)]


def word_strokes(text: str, box: BoxMm, writer: Writer, rng: Rng) -> list[Stroke]:
    """A few words on a strip in this hand."""
    return lettering(
        text,
        box,
        rng,
        size=writer.size,
        slant=writer.slant,
        pressure=writer.pressure,
        shake_mm=writer.shake_mm,
    )
