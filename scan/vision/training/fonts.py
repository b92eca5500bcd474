"""Digits of handwriting fonts: shapes of many countries' schools that MNIST's writers did not learn.

The files lie in one folder, WOFF, TTF or OTF, one a family, named FAMILY-….woff as the registry packages
@fontsource/FAMILY have them (`npm pack @fontsource/caveat`, the file …-latin-400-normal.woff; all under the
SIL Open Font License). Families in `TRAINED_ON` trained the network; the others are for reporting alone. Of
one designer's related families all are on one side.
"""

from collections.abc import Sequence
from pathlib import Path

import cv2
import numpy as np
from numpy.typing import NDArray
from PIL import Image, ImageDraw, ImageFont

from shortpencil.forms.errors import InputError

#: Playwrite's and Edu's are the hands that schools teach in some forty countries. Of the others every
#: second first name, by chance; one whose 1 is a 7 to the eye was left out.
_FAMILIES = """
    amatic-sc annie-use-your-telescope bad-script charm coming-soon covered-by-your-grace crafty-girls
    dawning-of-a-new-day dekko east-sea-dokdo fuzzy-bubbles gamja-flower grape-nuts hi-melody kavivanar
    klee-one kristi la-belle-aurore liu-jian-mao-cao mali manjari mansalva marck-script mynerve
    nanum-brush-script nanum-pen-script neucha nothing-you-could-do oooh-baby over-the-rainbow pangolin
    permanent-marker qwigley rancho rock-salt send-flowers short-stack slackside-one sniglet solitreo
    square-peg sue-ellen-francisco sunshiney swanky-and-moo-moo the-girl-next-door the-nautigal
    vujahday-script walter-turncoat zeyada zhi-mang-xing
    edu-au-vic-wa-nt-hand edu-nsw-act-foundation edu-nsw-act-hand-pre edu-qld-beginner edu-qld-hand
    edu-sa-beginner edu-sa-hand edu-tas-beginner edu-vic-wa-nt-beginner
    playwrite-ar playwrite-at playwrite-au-qld playwrite-au-vic playwrite-be-wal playwrite-br playwrite-ca
    playwrite-cl playwrite-co playwrite-cu playwrite-cz playwrite-de-grund playwrite-de-sas
    playwrite-dk-loopet playwrite-dk-uloopet playwrite-es playwrite-es-deco playwrite-fr-moderne
    playwrite-fr-trad playwrite-hr playwrite-hr-lijeva playwrite-hu playwrite-id playwrite-ie playwrite-in
    playwrite-is playwrite-it-moderna playwrite-it-trad playwrite-mx playwrite-ng-modern playwrite-nl
    playwrite-no playwrite-nz playwrite-pe playwrite-pl playwrite-pt playwrite-ro playwrite-sk playwrite-tz
    playwrite-us-modern playwrite-us-trad playwrite-vn playwrite-za
"""
TRAINED_ON = frozenset(_FAMILIES.split())

_SIDE_PX, _DIGIT_PX = 28, 20  # as MNIST's
_LARGE_PX = 200
_GRID = 4  # control points of the bending, a side
_BEND_PX = 0.7  # their standard deviation; more makes hooks that no hand would write


def family_of(file: Path) -> str:
    """The family that a font file belongs to: its name up to the alphabet's."""
    return file.stem.split("-latin")[0].lower()


def files_in(folder: Path) -> list[Path]:
    """Font files of a folder, by name."""
    found = sorted(p for p in folder.iterdir() if p.suffix.lower() in (".woff", ".ttf", ".otf"))
    if not found:
        raise InputError(f"{folder}: expected font files (.woff, .ttf, .otf), found none. Unpack them there.")
    return found


def digit(file: Path, which: int) -> NDArray[np.uint8]:
    """A font's digit (28, 28), 255 = ink, as MNIST has them: 20 px, the centre of mass in the middle."""
    font = ImageFont.truetype(str(file), _LARGE_PX)
    page = Image.new("L", (4 * _LARGE_PX, 4 * _LARGE_PX), 0)
    ImageDraw.Draw(page).text((2 * _LARGE_PX, 2.5 * _LARGE_PX), str(which), fill=255, font=font, anchor="ms")
    box = page.getbbox()
    if box is None:
        raise InputError(f"{file}: expected a font with digits, found nothing drawn for {which}.")
    ink = np.asarray(page.crop(box))
    scale = _DIGIT_PX / max(ink.shape)
    size = [max(1, round(side * scale)) for side in ink.shape[::-1]]
    small = cv2.resize(ink, size, interpolation=cv2.INTER_AREA).astype(np.float64)
    where = []
    for axis in (0, 1):
        along = small.sum(axis=1 - axis)
        middle = float((along * np.arange(len(along))).sum() / along.sum())
        start = round((_SIDE_PX - 1) / 2 - middle)
        where.append(int(np.clip(start, 0, _SIDE_PX - len(along))))
    out = np.zeros((_SIDE_PX, _SIDE_PX), np.uint8)
    out[where[0] : where[0] + small.shape[0], where[1] : where[1] + small.shape[1]] = small.round()
    return out


def bent(image: NDArray[np.uint8], rng: np.random.Generator) -> NDArray[np.uint8]:
    """The same digit as an unsteady hand would copy it: bent smoothly by a pixel or so."""
    moves = rng.normal(0, _BEND_PX, (_GRID, _GRID, 2)).astype(np.float32)
    field = cv2.resize(moves, (_SIDE_PX, _SIDE_PX), interpolation=cv2.INTER_CUBIC)
    x, y = np.meshgrid(np.arange(_SIDE_PX, dtype=np.float32), np.arange(_SIDE_PX, dtype=np.float32))
    return np.asarray(cv2.remap(image, x + field[..., 0], y + field[..., 1], cv2.INTER_LINEAR), np.uint8)


def load(
    files: Sequence[Path], copies: int, seed: int
) -> tuple[NDArray[np.uint8], NDArray[np.int64], list[str]]:
    """Images (N, 28, 28), labels (N,) and families (N,): of each font `copies` of each digit, all bent."""
    rng = np.random.default_rng(seed)
    images, labels, families = [], [], []
    for file in files:
        for which in range(10):
            plain = digit(file, which)
            images += [bent(plain, rng) for _ in range(copies)]
            labels += [which] * copies
            families += [family_of(file)] * copies
    return np.stack(images), np.array(labels, np.int64), families
