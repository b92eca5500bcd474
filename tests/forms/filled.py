"""A printed card of any form filled in by a simulated hand and photographed: `python -m tests.forms.filled`.

shortpencil print --form own.toml -o own.pdf --map own.json --json > own.cards.json
python -m tests.forms.filled own.pdf own.json SERIAL answers.json photo.jpg [SEED]
"""

from __future__ import annotations

import json
from collections.abc import Mapping
from pathlib import Path
from typing import Any

import numpy as np

from tests.simulator.blanks import small_bank
from tests.simulator.pens import PENS
from tests.simulator.scenario import Answer, condition, fill, photograph, rasterise, some_writer

PX_PER_MM = 12.0


def photo_of(
    pdf: bytes,
    field_map: Mapping[str, Any],
    serial: str,
    answers: Mapping[str, Answer],
    *,
    seed: int = 1,
    pen: str = "pencil-HB",
    light: str = "clean",
    severity: float = 0.3,
) -> bytes:
    """Return a JPEG of the first page of a PDF, filled in with these answers."""
    how = condition(light, severity, seed, long_px=3000)
    writer = some_writer(np.random.default_rng(seed), small_bank(), pen=PENS[pen], careful=0.95)
    filled = fill(
        rasterise(pdf, 1, PX_PER_MM),
        PX_PER_MM,
        dict(field_map),
        answers,
        writer,
        seed,
        bank=small_bank(),
        condition=how,
        serial=serial,
    )
    return photograph(filled, how, seed).encoded()


if __name__ == "__main__":
    import sys

    pdf_, map_, serial_, answers_, out, *seed_ = sys.argv[1:]
    given = json.loads(Path(answers_).read_text())
    marks = {name: tuple(value) if isinstance(value, list) else value for name, value in given.items()}
    read_map = json.loads(Path(map_).read_text())
    jpeg = photo_of(Path(pdf_).read_bytes(), read_map, serial_, marks, seed=int(seed_[0]) if seed_ else 1)
    Path(out).write_bytes(jpeg)
