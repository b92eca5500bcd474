"""The simulator's front door: invented rounds, filled-in cards, photos of them, each with its truth.

round_answers(map) -> fill(page, map, answers, writer) -> Sheet -> photograph(sheet, condition) -> Shot
"""

from tests.simulator.camera import Shot, as_stored, photograph, truth_json
from tests.simulator.conditions import CONDITIONS, EVERYDAY, Condition, combined, condition, mixed
from tests.simulator.filling import TROUBLES, fill
from tests.simulator.glyphs import GlyphBank
from tests.simulator.handwriting import Writer, some_writer
from tests.simulator.lens import SheetToPhoto
from tests.simulator.paper import Sheet, rasterise
from tests.simulator.rounds import Answer, Player, round_answers, some_player

__all__ = [
    "CONDITIONS",
    "EVERYDAY",
    "TROUBLES",
    "Answer",
    "Condition",
    "GlyphBank",
    "Player",
    "Sheet",
    "SheetToPhoto",
    "Shot",
    "Writer",
    "as_stored",
    "combined",
    "condition",
    "fill",
    "mixed",
    "photograph",
    "rasterise",
    "round_answers",
    "some_player",
    "some_writer",
    "truth_json",
]
