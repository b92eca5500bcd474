"""Fonts as hands: digits come out as MNIST has them, copies are bent, a folder without fonts is told."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest

from shortpencil.forms.errors import InputError
from shortpencil.scan.vision.training import fonts

FILE = sorted((Path(__file__).parents[3] / "forms" / "fonts").glob("*.ttf"))[0]


@pytest.mark.parametrize("which", range(10))
def test_a_digit_fits_twenty_pixels_and_its_mass_lies_in_the_middle(which: int) -> None:
    # LeCun et al., "The MNIST database": "size normalized to fit in a 20x20 pixel box … centered in a 28x28
    # image by computing the center of mass of the pixels".
    image = fonts.digit(FILE, which)
    assert image.shape == (28, 28)
    rows, columns = np.nonzero(image)
    assert max(np.ptp(rows), np.ptp(columns)) + 1 == 20
    ink = image / image.sum()
    for axis in (0, 1):
        middle = (ink.sum(axis=1 - axis) * np.arange(28)).sum()
        assert middle == pytest.approx(13.5, abs=0.51)


def test_copies_are_bent_each_in_its_own_way_and_the_same_for_a_seed() -> None:
    images, labels, families = fonts.load([FILE], 2, seed=3)
    assert images.shape == (20, 28, 28)
    assert labels.tolist() == [digit for digit in range(10) for _ in range(2)]
    assert set(families) == {FILE.stem.lower()}
    assert all((images[2 * k] != images[2 * k + 1]).any() for k in range(10))
    assert (images == fonts.load([FILE], 2, seed=3)[0]).all()


def test_families_are_named_by_their_files_and_none_is_on_both_sides(tmp_path: Path) -> None:
    assert fonts.family_of(Path("dir/Some-Hand-latin-400-normal.woff")) == "some-hand"
    # What an outside tester's cards were written with is kept for reporting.
    assert not fonts.TRAINED_ON & {"caveat", "kalam", "gochi-hand", "indie-flower", "patrick-hand"}
    with pytest.raises(InputError, match="expected font files"):
        fonts.files_in(tmp_path)
