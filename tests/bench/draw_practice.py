"""The two pictures of docs/practice.md: the report on one sheet and the practice card of an invented player.

Run: python -m tests.bench.draw_practice. They are drawn as the command line draws them.
"""

from __future__ import annotations

import io
import tempfile
from pathlib import Path

import numpy as np
from PIL import Image

from shortpencil.forms.pdf import picture_of
from shortpencil.scan.cli.main import main as command
from shortpencil.scan.records.store import open_store
from tests.practice.invented import Player, rounds_of

FIGURES = Path(__file__).parents[2] / "docs" / "figures"
WREN = Player(name="Wren", miss=(0.27, 0.3, 0.36), causes=(0.1, 0.5, 0.1, 0.1, 0.05, 0.1, 0.05, 0, 0, 0))
DPI, GREYS = 104, 16


def main() -> None:
    """Draw both."""
    with tempfile.TemporaryDirectory() as place:
        store, sheet, card = (Path(place, name) for name in ("rounds.sqlite", "sheet.pdf", "card.pdf"))
        with open_store(store) as kept:
            kept.add_rounds(rounds_of(WREN, 14, np.random.default_rng(5)))
        command(["focus", "--store", str(store), "--report", str(sheet), "--print", str(card), "-q"])
        for pdf, name in ((sheet, "focus_sheet.png"), (card, "practice_card.png")):
            picture = Image.open(io.BytesIO(picture_of(pdf.read_bytes(), DPI)))
            picture.quantize(GREYS).save(FIGURES / name, optimize=True)


if __name__ == "__main__":
    main()
