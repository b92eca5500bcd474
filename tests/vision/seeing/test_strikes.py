"""X's over nothing: a player's way to mark where there are several, to be asked about where there is one."""

from __future__ import annotations

import numpy as np

from shortpencil.scan.vision.seeing.bubbles import BubbleInk, Views
from shortpencil.scan.vision.seeing.strikes import as_this_player_marks

BLANK, FILLED, STRUCK = (-0.01, -9.0, -9.0), (-9.0, -0.01, -6.0), (-9.0, -6.0, -0.01)


def card(*bubbles: tuple[str, tuple[float, float, float], float]) -> tuple[dict, BubbleInk]:
    """Log likelihoods and ink of bubbles: id, what the network says, ink in the paler quarter inside."""
    measures = np.zeros((len(bubbles), 24), np.float32)
    measures[:, 1] = [ink for _, _, ink in bubbles]
    measures[:, 2] = measures[:, 1] + 0.2
    ids = tuple(cell for cell, _, _ in bubbles)
    nothing = np.zeros((len(bubbles), 1), np.float32)
    logs = {cell: says for cell, says, _ in bubbles}
    return logs, BubbleInk(ids, np.zeros((len(ids), 2)), Views(nothing, measures, nothing[0]))


def test_several_crosses_alone_in_their_fields_are_marks() -> None:
    logs, ink = card(
        ("h01.drive.clean", STRUCK, 0.05),
        ("h01.drive.miss", BLANK, 0.0),
        ("h02.drive.clean", BLANK, 0.0),
        ("h02.drive.miss", STRUCK, 0.1),
        ("h03.drive.clean", FILLED, 0.9),
    )
    found = as_this_player_marks(logs, ink)
    for cell in ("h01.drive.clean", "h02.drive.miss"):
        blank, filled, struck = found[cell]
        assert filled > blank + 5
        assert filled > struck + 5
    assert all(found[cell] == logs[cell] for cell in logs if logs[cell] is not STRUCK)


def test_one_cross_may_be_either() -> None:
    logs, ink = card(("h01.drive.clean", STRUCK, 0.05), ("h01.drive.miss", BLANK, 0.0))
    assert as_this_player_marks(logs, ink) == logs


def test_crosses_beside_another_mark_of_the_field_are_no_habit() -> None:
    """The card asks to strike the wrong one out and to fill the right one."""
    logs, ink = card(
        ("h01.drive.clean", STRUCK, 0.05),
        ("h01.drive.miss", FILLED, 0.9),
        ("h02.drive.clean", FILLED, 0.9),
        ("h02.drive.miss", STRUCK, 0.1),
    )
    assert as_this_player_marks(logs, ink) == logs


def test_many_that_look_struck_out_are_wild_marks() -> None:
    """One is struck out beyond doubt, the others hardly: after that they are marks, and it is not."""
    hardly, surely = (-9.0, -2.2, -0.1), (-12.0, -10.0, -0.01)
    wild = [(f"h{hole:02}.drive.clean", hardly, 0.7) for hole in range(1, 5)]
    logs, ink = card(*wild, ("h09.drive.clean", surely, 0.8))
    found = as_this_player_marks(logs, ink)
    for cell, _, _ in wild:
        assert found[cell][1] > found[cell][2]
    assert found["h09.drive.clean"][2] > found["h09.drive.clean"][1] + 5
    few, ink = card(*wild[:3])
    assert as_this_player_marks(few, ink) == few


def test_what_is_filled_beneath_its_cross_stays_struck_out() -> None:
    logs, ink = card(
        ("h01.drive.clean", STRUCK, 0.05),
        ("h02.drive.clean", STRUCK, 0.1),
        ("h03.drive.clean", STRUCK, 0.6),
    )
    assert as_this_player_marks(logs, ink)["h03.drive.clean"] == STRUCK
