"""Takes the photo: sheets on a table, lit, through a lens, onto a sensor, into a file; with the exact truth.

The truth is the mapping from field map millimetres to photo pixels. It is evaluated on the same surface that
is drawn, so that a reader's registration can be measured to a fraction of a pixel.
"""

from __future__ import annotations

import json
from collections.abc import Sequence
from dataclasses import dataclass, replace
from functools import lru_cache
from pathlib import Path
from typing import Any

import cv2
import numpy as np
from numpy.typing import NDArray

from tests.simulator import lens, optics, sensor
from tests.simulator.backgrounds import background
from tests.simulator.conditions import Condition
from tests.simulator.handling import rolled_shutter
from tests.simulator.lens import Camera, SheetToPhoto
from tests.simulator.light import SHRINK, glare, relief, shadows, sky_relief, unevenness, vignette
from tests.simulator.paper import Sheet, photocopied, sheened, torn, worn
from tests.simulator.pens import Picture, to_linear
from tests.simulator.sensor import WHITE, Output, Scene
from tests.simulator.surface import MARGIN_MM, make_surface

Rng = np.random.Generator
Floats = NDArray[np.float32]
TRUTH_SCHEMA = 1


@dataclass(frozen=True, slots=True)
class Shot:
    """A photo and everything that is true about it.

    Attributes
    ----------
    image : (H, W, 3) sRGB as shown, upright by its EXIF orientation
    sheets, sheet_to_photo : each sheet in the picture and where its points are
    """

    image: Picture
    sheets: tuple[Sheet, ...]
    sheet_to_photo: tuple[SheetToPhoto, ...]
    condition: Condition

    def encoded(self) -> bytes:
        """File bytes, as the condition's output wishes."""
        return sensor.encoded(self.image, self.condition.output, self.condition.dpi)

    def save(self, folder: Path, name: str, *, expect: str = "read") -> Path:
        """Write the photo and `NAME.truth.json`; return the photo's path."""
        target = folder / f"{name}{self.condition.output.suffix}"
        target.write_bytes(self.encoded())
        text = json.dumps(truth_json(self.sheets[0], expect=expect), indent=1, ensure_ascii=False)
        (folder / f"{name}.truth.json").write_text(text + "\n", encoding="utf-8")
        return target


def truth_json(sheet: Sheet, *, expect: str = "read") -> dict[str, Any]:
    """What a perfect reader would say of the sheet, plain types only."""
    return {
        "schema": TRUTH_SCHEMA,
        "serial": sheet.serial,
        "form": sheet.form,
        "fingerprint": sheet.fingerprint,
        "expect": expect,
        "review": list(sheet.review),
        "fields": {k: list(v) if isinstance(v, tuple) else v for k, v in sheet.fields.items()},
        "cells": dict(sheet.cells),
        "marks": dict(sheet.marks),
    }


def photograph(sheets: Sheet | Sequence[Sheet], how: Condition, seed: int) -> Shot:
    """Take one photo.

    Parameters
    ----------
    sheets : one sheet, or several that lie side by side on the table
    how : the condition; a flatbed or a fax takes one sheet
    """
    rng = np.random.default_rng([seed, 3])
    pile = (sheets,) if isinstance(sheets, Sheet) else tuple(sheets)
    pile = tuple(worn(s, how.wear, rng) if _is_worn(how) else s for s in pile)
    if how.copied:
        pile = tuple(photocopied(s, rng) for s in pile)
    if how.torn:
        pile = tuple(torn(s, how.torn, how.torn_mm, rng) for s in pile)
    if how.sheen > 0:
        pile = tuple(sheened(s, how.sheen, rng) for s in pile)
    image, maps = _snap(pile, how, rng) if how.device == "phone" else _scan(pile[0], how, rng)
    image, scale = _shrunk(image, how.output)
    if scale is not None:
        maps = [m.transformed(scale) for m in maps]
    for quality in how.output.qualities[:-1] if how.output.suffix == ".jpg" else ():
        image = sensor.recoded(image, quality)
    return Shot(image, pile, tuple(maps), how)


def as_stored(shot: Shot) -> Shot:
    """The shot with its picture as a reader of the JPEG file gets it, for benchmarks that write no file."""
    return replace(shot, image=sensor.recoded(shot.image, shot.condition.output.qualities[-1]))


def _is_worn(how: Condition) -> bool:
    w = how.wear
    return bool(w.folds) or w.drops > 0 or max(w.coffee, w.smudge, w.dirt, w.show_through) > 0


def _shrunk(image: Picture, output: Output) -> tuple[Picture, NDArray[np.float64] | None]:
    long = max(image.shape[:2])
    if output.long_px is None or output.long_px >= long:
        return image, None
    ratio = output.long_px / long
    size = (round(image.shape[1] * ratio), round(image.shape[0] * ratio))
    fx, fy = size[0] / image.shape[1], size[1] / image.shape[0]
    small = cv2.resize(image, size, interpolation=cv2.INTER_AREA)
    # A pixel's centre has whole coordinates: (x + 1/2) f - 1/2.
    return small, np.array([[fx, 0.0, fx / 2 - 0.5], [0.0, fy, fy / 2 - 0.5]])


def _snap(pile: tuple[Sheet, ...], how: Condition, rng: Rng) -> tuple[Picture, list[SheetToPhoto]]:
    """A phone's photo and the map of each sheet."""
    surfaces = [make_surface(sheet.size_mm, how.shape, rng) for sheet in pile]
    worlds = _on_table(pile, [s.xyz for s in surfaces], rng)
    camera = lens.aim(how.view, np.concatenate([lens.outline(world) for world in worlds]))
    maps = [
        SheetToPhoto(camera.project(world), sheet.card_to_sheet)
        for sheet, world in zip(pile, worlds, strict=True)
    ]
    width, height = how.view.size_px
    step = 8 if width * height > 5_000_000 else 4
    small = (-(-height // SHRINK), -(-width // SHRINK))
    table = background(how.background, how.variant, _table_to_photo(camera, worlds), (width, height))
    direct = np.ones(small, dtype=np.float32)
    around = np.ones(small, dtype=np.float32)
    scene = _linear(table)
    _contact_shadows(around, maps, pile)
    for sheet, surface, to_photo in zip(pile, surfaces, maps, strict=True):
        edge = to_photo.of_sheet(_edge_mm(sheet))
        window = lens.sheet_window(edge, (width, height), step)
        if window[2] - window[0] < step or window[3] - window[1] < step:
            continue
        where = lens.photo_to_sheet(to_photo, window, step)
        _lay_down(scene, sheet, where, edge, window, step, _px_per_mm(to_photo, sheet))
        normals = surface.normals()
        for target, shade in ((direct, relief(normals, how.light)), (around, sky_relief(normals))):
            _shade(target, shade, where, edge, window)
    if how.thumbs_on_marks:
        _fingers_on_marks(scene, pile[0], maps[0], how.thumbs_on_marks, how.thumb_reach_mm, rng)
    if how.thumbs:
        _fingers(scene, pile[0], maps[0], how.thumbs, rng)
    direct *= unevenness(small, how.light) * shadows(small, how.light, rng)
    loss = vignette(small, how.light.vignette)
    share = np.float32(how.light.ambient)
    gains = [
        (around * share * np.float32(sky) + direct * (1 - share) * np.float32(lamp)) * loss
        for sky, lamp in zip(how.light.sky, how.light.colour, strict=True)
    ]
    level = np.float32(how.light.exposure / max(_paper_level(gains[1], pile, maps), 1e-3))
    lit = tuple(np.asarray(g * level, dtype=np.float32) for g in gains)
    scene = sensor.blurred(scene, how.sensor)
    if how.glass is not None:
        scene = optics.through_glass(scene, how.glass)
    image = sensor.expose(scene, (lit[0], lit[1], lit[2]), glare(small, how.light, rng), how.sensor, rng)
    if how.finish is not None:
        image = optics.finished(image, how.finish)
    if how.shear_px or how.wobble_px:
        phase = float(rng.uniform(0, 6))
        grids = [m.grid_px for m in maps]
        image, grids = rolled_shutter(image, grids, how.shear_px, how.wobble_px, phase)
        maps = [replace(m, grid_px=grid) for m, grid in zip(maps, grids, strict=True)]
    return image, maps


def _on_table(
    pile: tuple[Sheet, ...], surfaces: list[NDArray[np.float64]], rng: Rng
) -> list[NDArray[np.float64]]:
    """World points of each surface: one in the middle, several in rows, none covering another."""
    if len(pile) == 1:
        return [np.asarray(surfaces[0])]
    columns = int(np.ceil(np.sqrt(len(pile))))
    pitch_x = max(s.size_mm[0] for s in pile) + 22.0
    pitch_y = max(s.size_mm[1] for s in pile) + 22.0
    worlds = []
    for i, xyz in enumerate(surfaces):
        x = (i % columns) * pitch_x + rng.uniform(-6, 6)
        y = (i // columns) * pitch_y + rng.uniform(-6, 6)
        turn = rng.normal(0, 2.0) + rng.choice([0.0, 180.0])
        c, s = np.cos(np.radians(turn)), np.sin(np.radians(turn))
        spin = np.array([[c, -s, 0.0], [s, c, 0.0], [0.0, 0.0, 1.0]])
        worlds.append(np.asarray(xyz @ spin.T + np.array([x, y, 0.0])))
    return worlds


def _table_to_photo(camera: Camera, worlds: list[NDArray[np.float64]]) -> NDArray[np.float64]:
    """Homography from mm on the table, counted from the middle of all sheets; lens distortion left out."""
    middle = np.mean([w.reshape(-1, 3).mean(axis=0) for w in worlds], axis=0)
    plain = replace(camera, k1=0.0, k2=0.0)
    square = np.array([[-100.0, -100.0], [100.0, -100.0], [100.0, 100.0], [-100.0, 100.0]])
    seen = plain.project(np.column_stack([square + middle[:2], np.zeros(4)]))
    return np.asarray(
        cv2.getPerspectiveTransform(square.astype(np.float32), seen.astype(np.float32)), dtype=float
    )


@lru_cache(maxsize=1)
def _to_scene() -> NDArray[np.uint16]:
    return np.round(to_linear(np.arange(256, dtype=np.uint8)) * WHITE).astype(np.uint16)


def _linear(picture: Picture) -> Scene:
    return np.asarray(cv2.LUT(picture, _to_scene()), dtype=np.uint16)


def _edge_mm(sheet: Sheet) -> NDArray[np.float64]:
    """Outline (N, 2) of what there is of the sheet."""
    return lens.edge_mm(sheet.size_mm) if sheet.edge_mm is None else sheet.edge_mm


def _px_per_mm(to_photo: SheetToPhoto, sheet: Sheet) -> float:
    """Largest number of photo pixels that a millimetre of the sheet gets, along either side."""
    inner = to_photo.grid_px[MARGIN_MM:-MARGIN_MM:10, MARGIN_MM:-MARGIN_MM:10]
    across = np.linalg.norm(np.diff(inner, axis=1), axis=2).max() / 10
    down = np.linalg.norm(np.diff(inner, axis=0), axis=2).max() / 10
    return float(max(across, down))


def _lay_down(
    scene: Scene,
    sheet: Sheet,
    where: Floats,
    edge: NDArray[np.float64],
    window: tuple[int, int, int, int],
    step: int,
    px_per_mm: float,
) -> None:
    """Draw the sheet into the scene, in place."""
    x0, y0, x1, y1 = window
    colour = _linear(sheet.rgb)
    ratio = 1.15 * px_per_mm / sheet.px_per_mm
    h, w = colour.shape[:2]
    if ratio < 0.87:
        # Averaging first is what a pixel's area does; sampling a finer picture directly would alias.
        colour = cv2.resize(colour, (round(w * ratio), round(h * ratio)), interpolation=cv2.INTER_AREA)
    scale = np.array([colour.shape[1] / w, colour.shape[0] / h], dtype=np.float32) * sheet.px_per_mm
    coarse = where * scale - np.float32(0.5)
    rows, columns = coarse.shape[:2]
    # Blocks of `step` pixels: enlarging by whole steps keeps block centres where they are.
    fine = cv2.resize(coarse, (columns * step, rows * step), interpolation=cv2.INTER_LINEAR)
    fine = fine[: y1 - y0, : x1 - x0]
    drawn = cv2.remap(colour, fine, None, cv2.INTER_LINEAR, borderMode=cv2.BORDER_REPLICATE)
    cover = np.zeros((y1 - y0, x1 - x0), dtype=np.uint8)
    cv2.fillPoly(cover, [np.round((edge - np.array([x0, y0])) * 16).astype(np.int32)], 255, cv2.LINE_AA, 4)
    part = scene[y0:y1, x0:x1]
    rim = (cover > 0) & (cover < 255)
    share = cover[rim].astype(np.float32)[:, None] / np.float32(255.0)
    mixed = drawn[rim] * share + part[rim] * (1 - share)
    cv2.copyTo(drawn, (cover == 255).astype(np.uint8), part)
    part[rim] = mixed.astype(np.uint16)


def _shade(
    target: Floats,
    shade: Floats,
    where: Floats,
    edge: NDArray[np.float64],
    window: tuple[int, int, int, int],
) -> None:
    """Multiply a light map by the sheet's own shading, inside the sheet, in place."""
    x0, y0, x1, y1 = (
        v // SHRINK for v in (window[0], window[1], window[2] + SHRINK - 1, window[3] + SHRINK - 1)
    )
    at = where + np.float32(MARGIN_MM)
    sampled = cv2.remap(shade, at, None, cv2.INTER_LINEAR, borderMode=cv2.BORDER_REPLICATE)
    part = target[y0:y1, x0:x1]
    blown_up = cv2.resize(sampled, (part.shape[1], part.shape[0]), interpolation=cv2.INTER_LINEAR)
    cover = np.zeros(part.shape, dtype=np.uint8)
    small = (edge + 0.5) / SHRINK - 0.5 - np.array([x0, y0])
    cv2.fillPoly(cover, [np.round(small * 16).astype(np.int32)], 255, cv2.LINE_AA, 4)
    share = cover.astype(np.float32) / np.float32(255.0)
    part *= 1.0 + share * (blown_up - 1.0)


def _contact_shadows(around: Floats, maps: list[SheetToPhoto], pile: tuple[Sheet, ...]) -> None:
    """The table is a little darker along the sheet's edge, in place."""
    for to_photo, sheet in zip(maps, pile, strict=True):
        edge = (to_photo.of_sheet(_edge_mm(sheet)) + 0.5) / SHRINK - 0.5
        cover = np.zeros(around.shape, dtype=np.uint8)
        cv2.fillPoly(cover, [np.round(edge * 16).astype(np.int32)], 255, cv2.LINE_AA, 4)
        reach = max(3.0 * _px_per_mm(to_photo, sheet) / SHRINK, 1.0)
        soft = cv2.GaussianBlur(cover, (0, 0), reach).astype(np.float32) / np.float32(255.0)
        outside = 1.0 - cover.astype(np.float32) / np.float32(255.0)
        around *= 1.0 - 0.55 * soft * outside


def _paper_level(gain: Floats, pile: tuple[Sheet, ...], maps: list[SheetToPhoto]) -> float:
    """Light that blank paper sends back where the camera meters: a bright part of the first sheet."""
    sheet = pile[0]
    inner = maps[0].grid_px[MARGIN_MM:-MARGIN_MM:15, MARGIN_MM:-MARGIN_MM:15].reshape(-1, 2) / SHRINK
    x = np.clip(inner[:, 0].astype(int), 0, gain.shape[1] - 1)
    y = np.clip(inner[:, 1].astype(int), 0, gain.shape[0] - 1)
    white = float(np.percentile(to_linear(np.ascontiguousarray(sheet.rgb[::97, ::97])), 75))
    return white * float(np.percentile(gain[y, x], 65))


def _fingers(scene: Scene, sheet: Sheet, to_photo: SheetToPhoto, count: int, rng: Rng) -> None:
    """Thumbs that hold the edge, clear of the corners and of the cells, in place."""
    w, h = sheet.size_mm
    tone = np.array([(0.48, 0.27, 0.19), (0.60, 0.38, 0.28), (0.22, 0.12, 0.08)][int(rng.integers(3))])
    for side in rng.permutation(["left", "right", "bottom"])[:count]:
        along = rng.uniform(0.3, 0.7)
        edge, inward = {
            "left": ((0.0, along * h), (1.0, 0.0)),
            "right": ((w, along * h), (-1.0, 0.0)),
            "bottom": ((along * w, h), (0.0, -1.0)),
        }[str(side)]
        inward_mm = lens.turned(inward, float(rng.normal(0, 14)))
        # The card's own margin is 10 mm: a thumb on the cells would be another matter.
        tip_mm = np.array(edge) + inward_mm * rng.uniform(4.0, 9.0)
        tip, ahead = to_photo.of_sheet(np.stack([tip_mm, tip_mm + inward_mm]))
        _thumb(scene, tip, (ahead - tip) / np.hypot(*(ahead - tip)), _px_per_mm(to_photo, sheet), tone, rng)


def _fingers_on_marks(
    scene: Scene, sheet: Sheet, to_photo: SheetToPhoto, count: int, reach_mm: float, rng: Rng
) -> None:
    """Thumbs that lie on corner marks, in place; they come in from the side, as a hand that holds does."""
    w, h = sheet.size_mm
    tone = np.array([(0.48, 0.27, 0.19), (0.60, 0.38, 0.28), (0.22, 0.12, 0.08)][int(rng.integers(3))])
    for corner in rng.permutation(4)[:count]:
        right, low = corner in (1, 2), corner in (2, 3)
        inward_mm = lens.turned((-1.0 if right else 1.0, 0.0), float(rng.normal(0, 18)))
        along = 16.0 + rng.normal(0, 2.0)
        start = np.array([w if right else 0.0, h - along if low else along])
        tip_mm = start + inward_mm * reach_mm * rng.uniform(1.0, 1.35)
        tip, ahead = to_photo.of_sheet(np.stack([tip_mm, tip_mm + inward_mm]))
        _thumb(scene, tip, (ahead - tip) / np.hypot(*(ahead - tip)), _px_per_mm(to_photo, sheet), tone, rng)


def _thumb(
    scene: Scene,
    tip: NDArray[np.float64],
    inward: NDArray[np.float64],
    px_per_mm: float,
    tone: NDArray[np.float64],
    rng: Rng,
) -> None:
    """One thumb, its tip at `tip`, pointing along `inward`; a rounded body with a nail and a soft shadow."""
    h, w = scene.shape[:2]
    half = rng.uniform(8.5, 10.5) * px_per_mm
    reach = 75 * px_per_mm
    box = np.array([tip - reach, tip + reach])
    x0, y0 = (int(np.clip(v, 0, s)) for v, s in zip(box[0], (w, h), strict=True))
    x1, y1 = (int(np.clip(v, 0, s)) for v, s in zip(box[1], (w, h), strict=True))
    if x1 - x0 < 4 or y1 - y0 < 4:
        return
    ys, xs = np.mgrid[y0:y1:2, x0:x1:2].astype(np.float32)
    back = (tip[0] - xs) * inward[0] + (tip[1] - ys) * inward[1]  # from the tip towards the hand
    aside = (xs - tip[0]) * -inward[1] + (ys - tip[1]) * inward[0]
    grown = half * (1.0 + 0.16 * np.clip((back - 26 * px_per_mm) / (30 * px_per_mm), 0, 1.5))
    # A superellipse at the tip, a widening trunk behind it.
    front = np.clip((half * 1.25 - back) / (half * 1.25), 0, 1.5)
    across = np.abs(aside) / grown
    inside = across**2.4 + np.where(back < half * 1.25, front**2.4, 0.0)
    cover = np.clip((1.0 - inside) * half / 6.0 + 0.5, 0, 1)
    round_off = np.sqrt(np.clip(1.0 - inside, 0, 1))
    nail = (aside / (0.62 * half)) ** 4 + ((back - 0.85 * half) / (0.62 * half)) ** 4
    on_nail = np.clip((1.0 - nail) * 4.0, 0, 1)[..., None]
    wrinkle = 1.0 + 0.06 * np.sin(back / (1.1 * px_per_mm)) * np.exp(
        -(((back - 30 * px_per_mm) / (5 * px_per_mm)) ** 2)
    )
    skin = tone * (0.45 + 0.6 * round_off * wrinkle)[..., None]
    skin = skin * (1 - on_nail) + (0.5 * tone + 0.28) * (0.6 + 0.45 * round_off[..., None]) * on_nail
    size = (x1 - x0, y1 - y0)
    shade = cv2.GaussianBlur(cover, (0, 0), 1.1 * px_per_mm)
    part = scene[y0:y1, x0:x1]
    body = cv2.resize((skin * WHITE).astype(np.float32), size)
    share = cv2.resize(cover.astype(np.float32), size)[..., None]
    dark = 1.0 - 0.45 * cv2.resize(shade.astype(np.float32), size)[..., None]
    part[:] = (part * dark * (1 - share) + body * share).astype(np.uint16)


def _scan(sheet: Sheet, how: Condition, rng: Rng) -> tuple[Picture, list[SheetToPhoto]]:
    """A flatbed's or fax machine's scan: no perspective, light from one side only, a lid behind."""
    scale = how.dpi / 25.4
    down = (how.lines_per_inch or how.dpi) / 25.4
    w, h = sheet.size_mm
    turn = how.view.roll_deg
    c, s = abs(np.cos(np.radians(turn))), abs(np.sin(np.radians(turn)))
    quarter = abs(turn) > 45 and abs(turn) < 135
    bed = (w, h) if not quarter else (h, w)
    margin = rng.uniform(0, 4)
    size = (round((bed[0] + margin) * scale) // 2 * 2, round((bed[1] + margin) * down) // 2 * 2)
    del c, s
    middle = (np.array(size) - 1) / 2 + rng.uniform(-0.5, 0.5, 2) * margin * np.array([scale, down])
    shape = replace(how.shape, bend_mm=0.0, curl_mm=0.0, waves_mm=0.03, fold_deg=how.shape.fold_deg * 0.15)
    surface = make_surface(sheet.size_mm, replace(shape, crumple_mm=shape.crumple_mm * 0.2), rng)
    flat = surface.xyz[..., :2]
    rotation = np.column_stack([lens.turned((1.0, 0.0), turn), lens.turned((0.0, 1.0), turn)])
    # Scanners feed by a motor: the two directions differ by some thousandths.
    stretch = np.array([scale, down * (1.0 + float(rng.normal(0, 0.0015)))])
    to_photo = SheetToPhoto((flat @ rotation.T) * stretch + middle, sheet.card_to_sheet)
    lid = int(rng.choice([252, 245, 60]))
    scene = np.full((size[1], size[0], 3), _to_scene()[lid], dtype=np.uint16)
    edge = to_photo.of_sheet(_edge_mm(sheet))
    window = lens.sheet_window(edge, size, 4)
    where = lens.photo_to_sheet(to_photo, window, 4)
    _lay_down(scene, sheet, where, edge, window, 4, _px_per_mm(to_photo, sheet))
    small = (-(-size[1] // SHRINK), -(-size[0] // SHRINK))
    gain = np.ones(small, dtype=np.float32)
    _shade(
        gain,
        relief(surface.normals(), replace(how.light, elevation_deg=45, from_deg=270)),
        where,
        edge,
        window,
    )
    gain *= np.float32(rng.uniform(0.95, 1.12))
    scene = sensor.blurred(scene, how.sensor)
    # A scanner has no mosaic, but its software sharpens and its lamp flickers a little from line to line.
    value = scene.astype(np.float32) * cv2.resize(gain, size)[..., None] / np.float32(WHITE)
    value *= (1.0 + rng.normal(0, 0.003, (size[1], 1, 1))).astype(np.float32)
    value += rng.standard_normal((size[1], size[0], 1), dtype=np.float32) * np.float32(0.006)
    image = sensor.finished(sensor.to_srgb(value), how.sensor)
    if how.sensor.fax > 0:
        image = sensor.one_bit(image, how.sensor.fax, rng)
    return image, [to_photo]
