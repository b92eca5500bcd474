"""A sheet lies somewhere, light falls on it, a telephone looks: geometry, light, lens, sensor, file."""

from __future__ import annotations

from collections.abc import Sequence

import cv2
import numpy as np
from numpy.typing import NDArray
from scipy.interpolate import RegularGridInterpolator
from scipy.ndimage import map_coordinates

Floats = NDArray[np.float32]


def noise_field(rng: np.random.Generator, shape: tuple[int, int], scale: float) -> Floats:
    """Smooth noise, mean 0, deviation 1, its features ``scale`` pixels wide."""
    small = (max(3, int(shape[0] / scale) + 3), max(3, int(shape[1] / scale) + 3))
    big = cv2.resize(
        rng.standard_normal(small).astype(np.float32), shape[::-1], interpolation=cv2.INTER_CUBIC
    )
    return big / max(float(big.std()), 1e-6)


def table(rng: np.random.Generator, shape: tuple[int, int]) -> Floats:
    """What the card lies on, reflectance (h, w, 3)."""
    h, w = shape
    kind = rng.choice(["stone", "wood", "check", "grass", "cloth", "print", "plain"])
    base = rng.uniform(0.05, 0.6) * np.array([1, rng.uniform(0.75, 1.05), rng.uniform(0.5, 1.1)])
    field = np.zeros((h, w), np.float32)
    if kind == "wood":
        stretched = cv2.resize(
            rng.standard_normal((max(4, h // 3), 6)).astype(np.float32), (w, h), interpolation=cv2.INTER_CUBIC
        )
        field = 0.25 * stretched + 0.05 * noise_field(rng, shape, 3)
    elif kind in ("stone", "cloth"):
        field = 0.25 * noise_field(rng, shape, rng.uniform(2, 9)) + 0.1 * noise_field(rng, shape, 60)
    elif kind == "grass":
        base = np.array([0.14, 0.27, 0.06])
        field = 0.5 * noise_field(rng, shape, 4) + 0.2 * noise_field(rng, shape, 25)
    elif kind == "check":
        size = rng.uniform(0.03, 0.1) * w
        y, x = np.mgrid[:h, :w]
        field = (((x // size) % 2) + ((y // size) % 2) - 1).astype(np.float32) * 0.6
    elif kind == "print":
        field = np.where(
            (np.arange(h) // max(2, h // 90))[:, None] % 3 == 0, -0.9 * (noise_field(rng, shape, 8) > 0), 0
        ).astype(np.float32)
        base = np.array([0.8, 0.8, 0.78])
    return np.clip(base * (1 + field[..., None]), 0.01, 0.95).astype(np.float32)


def relief(
    rng: np.random.Generator, family: str, hardness: float, width: float, height: float
) -> tuple[NDArray[np.float64], NDArray[np.float64], NDArray[np.float64]]:
    """Heights in mm of a sheet over a 2 mm grid: (xs, ys, z[y, x])."""
    xs, ys = np.arange(0, width + 2, 2.0), np.arange(0, height + 2, 2.0)
    x, y = np.meshgrid(xs, ys)
    z = np.zeros_like(x)
    if family == "flatbed":
        return xs, ys, z
    curl = rng.normal(0, 1) * (1.5 + 4 * hardness) * (2.2 if family == "bag" else 0.7)
    along = (x / width - 0.5) if rng.random() < 0.5 else (y / height - 0.5)
    z += curl * (1 - 4 * along**2)
    if family == "bag":
        for at, axis in ((width / 2, x), (height / 2, y)):
            if rng.random() < 0.85:
                lift = rng.uniform(1, 5) * (0.7 + hardness)
                z += (
                    lift
                    * rng.choice([-1, 1])
                    * np.exp(-np.abs(axis - at - rng.normal(0, 2)) / rng.uniform(15, 50))
                )
        z += (0.2 + 0.4 * hardness) * cv2.resize(
            rng.standard_normal((9, 7)), z.shape[::-1], interpolation=cv2.INTER_CUBIC
        )
    else:
        z += 0.25 * cv2.resize(rng.standard_normal((5, 4)), z.shape[::-1], interpolation=cv2.INTER_CUBIC)
    return xs, ys, z


def lit_photo(
    rng: np.random.Generator,
    sheet: Floats,
    size_mm: tuple[float, float],
    family: str,
    hardness: float,
    long_px: Sequence[int] = (2400, 3000, 3600, 4000),
) -> tuple[NDArray[np.uint8], float]:
    """The photo (h, w, 3) RGB of the reflectance ``sheet``, and its pixels per millimetre of card.

    ``long_px`` are the longer sides that a telephone's picture may have.
    """
    width, height = size_mm
    if family in ("flatbed",):
        return scan(rng, sheet, size_mm, hardness)
    fill = rng.uniform(0.7, 0.97) if rng.random() < 0.75 else rng.uniform(0.55 - 0.15 * hardness, 0.75)
    tall = {"messenger": rng.choice([1600, 2000, 1280]), "copy": 3000}.get(family, rng.choice(list(long_px)))
    h, w = int(tall), int(tall * 3 / 4)
    if family == "messenger":
        h, w = 2800, 2100
    xs, ys, z = relief(rng, family, hardness, width, height)
    gx, gy = np.meshgrid(xs, ys)
    centre = np.array([width / 2, height / 2])
    turn = rng.normal(0, 0.12) if rng.random() < 0.75 else rng.uniform(-np.pi, np.pi)
    tilt, swing = np.radians(rng.normal(0, 7 + 9 * hardness)), np.radians(rng.normal(0, 5 + 7 * hardness))
    turned = [[np.cos(turn), -np.sin(turn), 0], [np.sin(turn), np.cos(turn), 0], [0, 0, 1]]
    tilted = [[1, 0, 0], [0, np.cos(tilt), -np.sin(tilt)], [0, np.sin(tilt), np.cos(tilt)]]
    swung = [[np.cos(swing), 0, np.sin(swing)], [0, 1, 0], [-np.sin(swing), 0, np.cos(swing)]]
    rotate = np.array(swung) @ np.array(tilted) @ np.array(turned)
    points = np.stack([gx - centre[0], gy - centre[1], -z], -1) @ rotate.T
    extent = max(np.ptp(points[..., 0]) / w, np.ptp(points[..., 1]) / h)
    scale = fill / extent
    distance = rng.uniform(1.1, 2.2) * h / scale  # mm from the lens
    depth = distance + points[..., 2]
    px = points[..., :2] * (scale * distance / depth[..., None]) + [w / 2, h / 2]
    lo, hi = px.reshape(-1, 2).min(0), px.reshape(-1, 2).max(0)
    spare = np.array([w, h]) - (hi - lo)
    px += -lo + np.clip(rng.uniform(0.1, 0.9, 2), 0, 1) * np.maximum(spare, 0)
    # From the sheet's grid to the picture's pixels and back: splat the grid, fill between by iteration.
    to_px = RegularGridInterpolator((ys, xs), px, bounds_error=False, fill_value=None)
    step = 8
    qy, qx = np.mgrid[0 : h + step : step, 0 : w + step : step].astype(float)
    corners = np.float32([px[0, 0], px[0, -1], px[-1, -1], px[-1, 0]])
    flat = cv2.getPerspectiveTransform(
        corners, np.float32([[0, 0], [xs[-1], 0], [xs[-1], ys[-1]], [0, ys[-1]]])
    )
    guess = cv2.perspectiveTransform(np.stack([qx, qy], -1).reshape(-1, 1, 2), flat).reshape(-1, 2)
    target = np.stack([qx, qy], -1).reshape(-1, 2)
    rate = np.linalg.norm(corners[1] - corners[0]) / xs[-1]
    inside = np.all((guess > [-15, -15]) & (guess < [width + 15, height + 15]), 1)
    for _ in range(12):
        off = to_px(guess[inside][:, ::-1]) - target[inside]
        local = cv2.perspectiveTransform((target[inside] + 0 * off).reshape(-1, 1, 2), flat).reshape(-1, 2)
        moved = cv2.perspectiveTransform((target[inside] + off).reshape(-1, 1, 2), flat).reshape(-1, 2)
        guess[inside] -= moved - local
    guess = guess.reshape(*qx.shape, 2).astype(np.float32)
    u, v = (cv2.resize(guess[..., k], None, fx=step, fy=step, interpolation=cv2.INTER_LINEAR) for k in (0, 1))
    shift = (step - 1) / 2  # resize samples pixel centres
    grid = cv2.warpAffine
    u, v = (
        grid(a, np.float32([[1, 0, -shift], [0, 1, -shift]]), (w, h), borderMode=cv2.BORDER_REPLICATE)
        for a in (u, v)
    )
    page_px = sheet.shape[1] / width
    blur = page_px / max(rate, 1e-6) * 0.35
    shown = cv2.GaussianBlur(sheet, (0, 0), blur) if blur > 0.5 else sheet
    look = cv2.remap(
        shown, u * page_px - 0.5, v * page_px - 0.5, cv2.INTER_LINEAR, borderMode=cv2.BORDER_REPLICATE
    )
    on = ((u >= 0) & (u < width) & (v >= 0) & (v < height)).astype(np.float32)
    on = cv2.GaussianBlur(on, (0, 0), 0.7)[..., None]
    scene = look * on + table(rng, (h, w)) * (1 - on)
    # Light: slope of the paper towards the lamp, falloff, shadows, gloss.
    dzy, dzx = np.gradient(z, ys, xs)
    lamp = np.array([rng.normal(0, 1), rng.normal(0, 1), rng.uniform(0.8, 2.5)])
    lamp /= np.linalg.norm(lamp)
    shade = (lamp[2] - lamp[0] * -dzx - lamp[1] * -dzy) / lamp[2]
    at = [np.clip(v / 2, 0, len(ys) - 1), np.clip(u / 2, 0, len(xs) - 1)]
    light = (
        map_coordinates(shade, at, order=1).astype(np.float32)
        if family != "copy"
        else np.ones((h, w), np.float32)
    )
    light = 1 + (0.5 + 0.5 * hardness) * (light - 1)
    yy, xx = np.mgrid[:h, :w].astype(np.float32)
    slope = rng.normal(0, 0.18 + 0.15 * hardness, 2)
    light *= np.clip(1 + slope[0] * (xx / w - 0.5) * 2 + slope[1] * (yy / h - 0.5) * 2, 0.15, None)
    if (family == "outdoor" and rng.random() < 0.8) or rng.random() < 0.25:
        soft = rng.uniform(2, 40)
        blobs = noise_field(rng, (h, w), rng.uniform(150, 900)) > rng.normal(0.2, 0.6)
        light *= 1 - rng.uniform(0.15, 0.45 + 0.25 * hardness) * cv2.GaussianBlur(
            blobs.astype(np.float32), (0, 0), soft
        )
    warm = (
        np.array([1, rng.uniform(0.82, 1), rng.uniform(0.55, 1)])
        if family in ("dusk", "desk")
        else np.array([1, 1, rng.uniform(0.93, 1.1)])
    )
    warm = 0.6 * warm / warm.max() + 0.4
    scene = scene * light[..., None] * warm
    r2 = ((xx / w - 0.5) ** 2 + (yy / h - 0.5) ** 2) / 0.5
    scene *= (1 - rng.uniform(0.05, 0.35) * r2)[..., None]
    if rng.random() < 0.25 * (0.5 + hardness):  # a greasy lens
        veil = cv2.resize(
            cv2.GaussianBlur(
                cv2.resize(scene.astype(np.float32), (w // 8, h // 8), interpolation=cv2.INTER_AREA),
                (0, 0),
                12,
            ),
            (w, h),
        )
        scene = 0.8 * scene + 0.2 * veil
    if rng.random() < 0.3:
        scene = finger(rng, scene.astype(np.float32))
    # The camera meters the sheet: its bright parts, not its mean.
    white = np.quantile(look[on[..., 0] > 0.5] if (on > 0.5).any() else scene, 0.9) * np.quantile(
        light[on[..., 0] > 0.5], 0.8
    )
    bright = {"dusk": rng.uniform(0.35, 0.6), "outdoor": rng.uniform(0.7, 0.95 + 0.15 * hardness)}.get(
        family, rng.uniform(0.55, 0.92)
    ) + 0.1 * hardness * rng.normal()
    scene = scene * (max(bright, 0.25) / white)
    sharp = rng.uniform(0.5, 1.1) + hardness * rng.uniform(0, 0.7)
    scene = cv2.GaussianBlur(scene.astype(np.float32), (0, 0), sharp * h / 3600 + 0.25)
    if rng.random() < 0.3 + 0.3 * hardness:
        scene = shaken(rng, scene, rng.uniform(1, 2 + 4 * hardness) * h / 3600)
    grain = (0.006 + 0.012 * hardness) * (2.2 if family == "dusk" else 1.0)
    scene = scene + rng.normal(0, 1, scene.shape).astype(np.float32) * grain * np.sqrt(
        np.clip(scene, 0.02, 1)
    )
    if rng.random() < 0.6:  # noise reduction and sharpening of the telephone
        scene = cv2.GaussianBlur(scene, (0, 0), 0.6)
        scene = scene + rng.uniform(0.3, 1.0) * (scene - cv2.GaussianBlur(scene, (0, 0), 1.6))
    knee = np.where(scene > 0.8, 0.8 + 0.2 * np.tanh((scene - 0.8) / 0.2), scene)
    out = (np.clip(knee, 0, 1) ** (1 / 2.2) * 255).astype(np.uint8)
    if family == "messenger":
        out = cv2.resize(out, (int(tall * 3 / 4), int(tall)), interpolation=cv2.INTER_AREA)
        rate *= tall / h
    return out, float(rate)


def finger(rng: np.random.Generator, scene: Floats) -> Floats:
    """A finger holds the sheet down at the edge of the picture."""
    h, w = scene.shape[:2]
    mask = np.zeros((h, w), np.float32)
    side = int(rng.integers(4))
    along = rng.uniform(0.2, 0.8)
    tip = {
        0: (0.04 * w, along * h),
        1: (0.96 * w, along * h),
        2: (along * w, 0.03 * h),
        3: (along * w, 0.97 * h),
    }[side]
    root = {
        0: (-0.1 * w, along * h),
        1: (1.1 * w, along * h),
        2: (along * w, -0.1 * h),
        3: (along * w, 1.1 * h),
    }[side]
    cv2.line(mask, tuple(map(int, root)), tuple(map(int, tip)), 1.0, int(0.045 * w), cv2.LINE_AA)
    mask = cv2.GaussianBlur(mask, (0, 0), 2)[..., None]
    skin = np.array([0.62, 0.42, 0.33]) * rng.uniform(0.5, 1.2)
    return (scene * (1 - mask) + mask * skin * float(np.median(scene))).astype(np.float32)


def shaken(rng: np.random.Generator, scene: Floats, length: float) -> Floats:
    """Motion along a line of ``length`` pixels."""
    n = max(3, int(np.ceil(length)) | 1)
    kernel = np.zeros((n, n), np.float32)
    angle = rng.uniform(0, np.pi)
    d = np.array([np.cos(angle), np.sin(angle)]) * length / 2
    c = np.array([n // 2, n // 2])
    cv2.line(
        kernel,
        tuple(np.round((c - d) * 16).astype(int)),
        tuple(np.round((c + d) * 16).astype(int)),
        1.0,
        1,
        cv2.LINE_AA,
        4,
    )
    return cv2.filter2D(scene, -1, kernel / kernel.sum())


def scan(
    rng: np.random.Generator, sheet: Floats, size_mm: tuple[float, float], hardness: float
) -> tuple[NDArray[np.uint8], float]:
    """A flat scanner: 150 to 300 dpi, its own idea of white."""
    dpi = float(rng.choice([150, 200, 300]))
    px = dpi / 25.4
    margin = 6
    w, h = int((size_mm[0] + 2 * margin) * px), int((size_mm[1] + 2 * margin) * px)
    from_px = sheet.shape[1] / size_mm[0]
    turn = cv2.getRotationMatrix2D((sheet.shape[1] / 2, sheet.shape[0] / 2), rng.normal(0, 1.0), px / from_px)
    turn[:, 2] += [w / 2 - sheet.shape[1] / 2, h / 2 - sheet.shape[0] / 2]
    soft = cv2.GaussianBlur(sheet, (0, 0), max(0.3, 0.45 * from_px / px))
    out = cv2.warpAffine(soft, turn, (w, h), borderValue=(0.97, 0.97, 0.97))
    white = np.quantile(out, 0.9) * rng.uniform(0.86, 1.08)
    out = np.clip(out / white, 0, 1) ** (1 / rng.uniform(1.6, 2.3))
    out += rng.normal(0, 0.008 + 0.012 * hardness, out.shape)
    if rng.random() < 0.35:
        steep = rng.uniform(4, 14)
        out = 1 / (1 + np.exp(-steep * (out - rng.uniform(0.55, 0.8))))
    if rng.random() < 0.5:
        out = np.repeat(out.mean(-1, keepdims=True), 3, -1)
    return (np.clip(out, 0, 1) * 255).astype(np.uint8), px
