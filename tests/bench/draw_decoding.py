"""Draws docs/figures/decoding.svg and prints the numbers of the worked example in docs/decoding.md.

python -m tests.bench.draw_decoding
"""

from __future__ import annotations

import itertools
import math
from pathlib import Path

import numpy as np

from shortpencil.forms.form import form_from_toml
from shortpencil.scan.vision.deciding.decode import Decoded, decode
from shortpencil.scan.vision.evidence import Evidence
from shortpencil.scan.vision.weighing.holes import score_prior
from shortpencil.scan.vision.weighing.written import written_sum

FIGURE = Path(__file__).parents[2] / "docs" / "figures" / "decoding.svg"

#: The example: what the ink says of four scores and of a total of two boxes.
SCORES = ({3: 1.0}, {4: 0.35, 9: 0.65}, {1: 0.5, 7: 0.5}, {5: 1.0})
TOTAL = 19

FORM = form_from_toml(
    'name = "four"\nedition = 1\ntitle = "four"\nrecord = "round"\n[rows]\nprefix = "h"\ncount = 4\n'
    '[[rows.left]]\nid = "score"\ntype = "number"\ndigits = 1\n'
    '[[foot]]\nid = "total"\ntype = "number"\ndigits = 2\n',
    source="example",
)


def box(shares: dict[int, float]) -> np.ndarray:
    """Logs of one box; what is not named is as unlikely as a sure reader says."""
    logs = np.full(12, -14.0, dtype=np.float32)
    for digit, share in shares.items():
        logs[digit] = math.log(share)
    return logs


def example() -> Evidence:
    """Evidence of the four scores and the total."""
    digits = {f"h{hole:02d}.score.1": box(shares) for hole, shares in enumerate(SCORES, start=1)}
    digits |= {f"total.{place}": box({int(sign): 1.0}) for place, sign in enumerate(str(TOTAL), start=1)}
    return Evidence({}, digits, {})


def ways() -> list[tuple[tuple[int, ...], float, float, float]]:
    """Each way to read the four scores: scores, ink, times prior, and posterior under the total."""
    prior = score_prior(1, None)
    full = np.zeros(100)
    full[TOTAL] = 1.0
    total = written_sum(full, 0.0, 37, 0.03, 0.1, 0.1).likelihood
    rows = []
    for scores in itertools.product(*SCORES):
        ink = math.prod(shares[score] for shares, score in zip(SCORES, scores, strict=True))
        alone = ink * math.prod(float(prior[score]) for score in scores)
        rows.append((scores, ink, alone, alone * float(total[sum(scores)])))
    whole_alone, whole = sum(row[2] for row in rows), sum(row[3] for row in rows)
    return [(scores, ink, alone / whole_alone, p / whole) for scores, ink, alone, p in rows]


def panel(x0: float, title: str, shares: list[tuple[tuple[int, ...], float]]) -> list[str]:
    """One lattice: running sums upwards, holes to the right, lines as thick as they are likely."""
    width, top, bottom, most = 290.0, 50.0, 325.0, 24.0
    lines = [f'<text x="{x0}" y="30" class="title">{title}</text>']

    def place(hole: int, running: int) -> tuple[float, float]:
        return x0 + 30 + hole * (width - 60) / 4, bottom - running * (bottom - top) / most

    edges: dict[tuple[int, int, int], float] = {}
    for scores, share in shares:
        running = 0
        for hole, score in enumerate(scores):
            edges[hole, running, running + score] = edges.get((hole, running, running + score), 0.0) + share
            running += score
    for (hole, before, after), share in edges.items():
        (x, y), (u, v) = place(hole, before), place(hole + 1, after)
        ends = f'x1="{x:.1f}" y1="{y:.1f}" x2="{u:.1f}" y2="{v:.1f}"'
        lines.append(f'<line {ends} stroke-width="{0.7 + 7 * share:.2f}"/>')
        lines.append(
            f'<text x="{(x + u) / 2 - 6:.1f}" y="{(y + v) / 2 - 8:.1f}" class="score">{after - before}</text>'
        )
    for hole, running in {(0, 0)} | {(hole + 1, after) for hole, _, after in edges}:
        x, y = place(hole, running)
        lines.append(f'<circle cx="{x:.1f}" cy="{y:.1f}" r="3"/>')
        if hole == 4:
            share = sum(p for (at, _, after), p in edges.items() if (at, after) == (3, running))
            nudge = 9 if running == 18 else 3 if running != 19 else -1  # 18 and 19 would touch
            label = f"<tspan class='sum'>{running}</tspan>: {_percent(share)}"
            lines.append(f'<text x="{x + 9:.1f}" y="{y + nudge:.1f}">{label}</text>')
    for hole in range(1, 5):
        x, _ = place(hole, 0)
        lines.append(f'<text x="{x - 32:.1f}" y="356" class="axis">hole {hole}</text>')
    return lines


def _percent(share: float) -> str:
    if share < 1e-5:
        return "under 0.001 %"
    return f"{100 * share:.3f} %" if share < 0.01 or share > 0.99 else f"{100 * share:.1f} %"


def picture() -> str:
    """Return the figure as SVG."""
    rows = ways()
    parts = [
        '<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 740 370" font-family="sans-serif" '
        'font-size="12" role="img" aria-label="Running sums of four holes, before and after the total">',
        "<style>line{stroke:#777;stroke-linecap:round}text{fill:#222;paint-order:stroke;stroke:#fff;"
        "stroke-width:3px}.title{font-size:14px;font-weight:bold}.axis{fill:#666}.sum{font-weight:bold}.score{font-size:13px}</style>",
        '<rect width="740" height="370" fill="#fff"/>',
        *panel(20, "Ink alone: four running sums", [(scores, ink) for scores, ink, *_ in rows]),
        *panel(370, f"With a total of {TOTAL}: one is left", [(scores, p) for scores, _, _, p in rows]),
        "</svg>",
    ]
    return "\n".join(parts) + "\n"


def check(decoded: Decoded) -> None:
    """Stop if the listed example and the decoder differ."""
    listed = sum(p for scores, _, _, p in ways() if scores[2] == 7)
    if abs(decoded.fields["h03.score"].p - listed) > 1e-4:
        raise ValueError(f"expected {listed} for a 7 on hole 3, found {decoded.fields['h03.score']}")


def main() -> None:
    """Draw the figure and print the numbers."""
    decoded = decode(FORM, example())
    check(decoded)
    for scores, ink, prior, p in ways():
        print(
            f"{scores}: adds up to {sum(scores)}; ink {ink:.3f}, with prior {prior:.4f}, with total {p:.5f}"
        )
    for name, field in decoded.fields.items():
        print(name, field)
    FIGURE.parent.mkdir(exist_ok=True)
    FIGURE.write_text(picture(), encoding="utf-8")


if __name__ == "__main__":
    main()
