"""Boxes of photos on disk, and by the shares of their answers."""

import numpy as np
import pytest

from shortpencil.scan.vision.evidence import ANSWER_SHARES
from shortpencil.scan.vision.training import photo_boxes
from shortpencil.scan.vision.training.photo_boxes import PhotoBoxes


def some_boxes(of_each: int) -> PhotoBoxes:
    answers = np.repeat(np.arange(12), of_each).astype(np.int8)
    n = len(answers)
    ink = np.random.default_rng(4).integers(0, 241, (n, 48, 48)).astype(np.uint8)
    names = np.array([f"hand {k % 3}" for k in range(n)])
    legible = np.arange(n) % of_each != 0  # the first of each answer cannot be read
    sizes = np.full((n, 2), (5.0, 6.0), np.float32)
    return PhotoBoxes(ink, sizes, answers, legible, names, names, names)


def test_files_of_a_folder_come_back_in_the_order_of_their_names(tmp_path):
    first, second = some_boxes(2), some_boxes(3)
    photo_boxes.save(second, tmp_path / "b.npz")
    photo_boxes.save(first, tmp_path / "a.npz")
    back = photo_boxes.load(tmp_path)
    assert len(back.answers) == 24 + 36
    assert (back.patches[:24] == first.patches).all()
    assert (back.answers[24:] == second.answers).all()


def test_shares_are_those_that_are_calibrated_for_and_no_box_comes_twice():
    boxes = some_boxes(101)
    some = photo_boxes.as_shares(boxes, 10_000, seed=1)
    # 100 legible ones of each: the blank boxes, of which most are wanted, are used up.
    told = np.bincount(some.answers, minlength=12) / len(some.answers)
    assert told == pytest.approx(ANSWER_SHARES, abs=0.005)
    assert some.legible.all()
    assert len(np.unique(some.patches.reshape(len(some.answers), -1), axis=0)) == len(some.answers)


def test_fewer_are_given_when_fewer_are_asked_for():
    assert 90 <= len(photo_boxes.as_shares(some_boxes(101), 100, seed=1).answers) <= 100
