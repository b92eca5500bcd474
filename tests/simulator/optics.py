"""Lenses that are not clean, and phones that improve: veils, smears, fingers, local tones, painted detail."""

from __future__ import annotations

from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

from tests.simulator.pens import Picture, to_linear, to_srgb
from tests.simulator.sensor import WHITE, Scene

Rng = np.random.Generator


@dataclass(frozen=True, slots=True)
class Glass:
    """What lies on the lens.

    Attributes
    ----------
    veil : share of the light that a greasy lens scatters over the whole picture, 0..0.5
    smear, smear_px, smear_deg : share that it spreads along one line, how far and which way
    finger : how far a fingertip reaches into the picture from an edge, as a share of it; 0 for none
    finger_at : where along the rim, 0..1
    """

    veil: float = 0.0
    smear: float = 0.0
    smear_px: float = 0.0
    smear_deg: float = 0.0
    finger: float = 0.0
    finger_at: float = 0.3


def through_glass(scene: Scene, glass: Glass) -> Scene:
    """Return a scene (H, W, 3) as it comes through the glass."""
    if glass.veil > 0 or glass.smear > 0:
        scene = _scattered(scene, glass)
    if glass.finger > 0:
        scene = _with_finger(scene, glass)
    return scene


def _scattered(scene: Scene, glass: Glass) -> Scene:
    height, width = scene.shape[:2]
    small = cv2.resize(scene, (width // 8, height // 8), interpolation=cv2.INTER_AREA)
    wide = cv2.GaussianBlur(small, (0, 0), 0.12 * max(small.shape[:2]))
    near = cv2.GaussianBlur(small, (0, 0), 0.012 * max(small.shape[:2]))
    veil = cv2.resize(cv2.addWeighted(wide, 0.7, near, 0.3, 0), (width, height))
    out = cv2.addWeighted(scene, 1 - glass.veil, veil, glass.veil, 0)
    if glass.smear > 0:
        half = max(round(glass.smear_px / 2), 1)
        kernel = np.zeros((2 * half + 1, 2 * half + 1), np.float32)
        a = np.radians(glass.smear_deg)
        reach = (half * np.cos(a), half * np.sin(a))
        start, end = ((half - reach[0], half - reach[1]), (half + reach[0], half + reach[1]))
        cv2.line(kernel, tuple(map(round, start)), tuple(map(round, end)), 1.0, 1, cv2.LINE_AA)  # type: ignore[arg-type]
        streaked = cv2.filter2D(out, -1, kernel / kernel.sum())
        out = cv2.addWeighted(out, 1 - glass.smear, streaked, glass.smear, 0)
    return np.asarray(out, np.uint16)


def _with_finger(scene: Scene, glass: Glass) -> Scene:
    """A fingertip in front of the lens: far out of focus, dark and red."""
    height, width = scene.shape[:2]
    size = max(height, width)
    small = np.zeros((height // 16 + 1, width // 16 + 1), np.float32)
    side, along = divmod(glass.finger_at * 4, 1.0)
    rim = [(along, 0.0), (1.0, along), (along, 1.0), (0.0, along)][int(side) % 4]
    centre = (int(rim[0] * small.shape[1]), int(rim[1] * small.shape[0]))
    cv2.circle(small, centre, int(glass.finger * size / 16), 1.0, -1)
    soft = cv2.GaussianBlur(small, (0, 0), 0.25 * glass.finger * size / 16)
    cover = cv2.resize(soft, (width, height))[..., None]
    skin = np.array((0.30, 0.12, 0.08), np.float32) * np.float32(WHITE)
    return np.asarray(scene * (1 - cover) + skin * cover, np.uint16)


@dataclass(frozen=True, slots=True)
class Finish:
    """What a phone's software does after the sensor.

    Attributes
    ----------
    brighten : gain in light after which highlights clip
    local : 0..1, how much it evens the light over the picture and lifts detail
    detail : 0..2, sharpening with rims
    paint : 0..1, smoothing of what it takes for noise
    saturate : colours
    """

    brighten: float = 1.0
    local: float = 0.0
    detail: float = 0.0
    paint: float = 0.0
    saturate: float = 1.0


def finished(image: Picture, finish: Finish) -> Picture:
    """Return an sRGB picture after the phone's software."""
    if finish.brighten != 1.0:
        # A shoulder before the clip, as tone curves have one.
        light = to_linear(image) * np.float32(finish.brighten)
        knee = np.float32(0.85)
        light = np.where(light > knee, knee + (1 - np.exp(-(light - knee) / 0.18)) * 0.18, light)
        image = to_srgb(np.minimum(light, 1.0))
    luma, cr, cb = cv2.split(cv2.cvtColor(image, cv2.COLOR_RGB2YCrCb))
    if finish.paint > 0:
        luma = cv2.bilateralFilter(luma, 7, 8 + 26 * finish.paint, 3.0)
    if finish.local > 0:
        luma = _evened(luma, finish.local)
    if finish.detail > 0:
        soft = cv2.GaussianBlur(luma, (0, 0), 1.6)
        luma = cv2.addWeighted(luma, 1 + finish.detail, soft, -finish.detail, 0)
    if finish.saturate != 1.0:
        cr, cb = (cv2.addWeighted(c, finish.saturate, c, 0, 128 * (1 - finish.saturate)) for c in (cr, cb))
    return np.asarray(cv2.cvtColor(cv2.merge([luma, cr, cb]), cv2.COLOR_YCrCb2RGB), np.uint8)


def _evened(luma: NDArray[np.uint8], strength: float) -> NDArray[np.uint8]:
    small = cv2.resize(luma, None, fx=1 / 16, fy=1 / 16, interpolation=cv2.INTER_AREA).astype(np.float32)
    base = cv2.GaussianBlur(small, (0, 0), max(small.shape) / 16)
    base = cv2.resize(base, luma.shape[1::-1])
    value = luma.astype(np.float32)
    middle = np.float32(np.median(base))
    lifted = value * ((middle / np.maximum(base, 6.0)) ** np.float32(0.7 * strength))
    lifted = base + (lifted - base) * np.float32(1 + 0.35 * strength)
    return np.clip(lifted, 0, 255).astype(np.uint8)
