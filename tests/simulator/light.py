"""Light on the scene: lamp or sun, sky, shadows of hand and phone, glare.

All maps are small (a quarter of the photo) and in linear light; they are blown up where they are used.
"""

from __future__ import annotations

from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

Rng = np.random.Generator
Floats = NDArray[np.float32]

#: Photo pixels to one pixel of a light map.
SHRINK = 4


@dataclass(frozen=True, slots=True)
class Light:
    """The light at one moment.

    Attributes
    ----------
    ambient : share that comes from everywhere, 0..1; shadows keep this much
    elevation_deg, from_deg : the lamp's or the sun's direction; low light shows creases
    uneven : 0..1 fall-off across the picture; uneven_to_deg its direction
    shadow : "" or a + list of "hand", "phone", "edge", "leaves"
    shadow_soft : blur of shadow edges as a share of the picture's long side
    colour : (R, G, B) of the lamp after white balance; sky : of what fills shadows
    glare : strength of a mirror-like spot, 0..1
    exposure : brightness of the paper in the finished picture, 0..1 linear; above 1 burns out
    vignette : loss in the corners, 0..1
    """

    ambient: float = 0.55
    elevation_deg: float = 55.0
    from_deg: float = 220.0
    uneven: float = 0.15
    uneven_to_deg: float = 30.0
    shadow: str = ""
    shadow_soft: float = 0.01
    colour: tuple[float, float, float] = (1.0, 1.0, 1.0)
    sky: tuple[float, float, float] = (0.96, 1.0, 1.06)
    glare: float = 0.0
    exposure: float = 0.75
    vignette: float = 0.12


def relief(normals: NDArray[np.float64], light: Light) -> Floats:
    """Brightness of a bent sheet against a flat one, direct light only, on the surface's own grid."""
    e, a = np.radians(light.elevation_deg), np.radians(light.from_deg)
    to_light = np.array([np.cos(e) * np.cos(a), np.cos(e) * np.sin(a), np.sin(e)])
    return np.clip(normals @ to_light / to_light[2], 0.0, 2.2).astype(np.float32)


def sky_relief(normals: NDArray[np.float64]) -> Floats:
    """The same for light from all sides: a slope sees less of the sky, a valley less still."""
    z = normals[..., 2].astype(np.float32)
    dy, dx = (
        np.gradient(normals[..., 1].astype(np.float32), axis=0),
        np.gradient(normals[..., 0].astype(np.float32), axis=1),
    )
    hollow = cv2.GaussianBlur(dx + dy, (0, 0), 2.0)  # negative in valleys, positive on ridges
    return np.asarray(np.clip(0.5 + 0.5 * z + 0.9 * hollow, 0.5, 1.25), dtype=np.float32)


def unevenness(shape: tuple[int, int], light: Light) -> Floats:
    """Direct light over the picture (h, w), 1 in the middle."""
    h, w = shape
    y, x = np.mgrid[0:h, 0:w].astype(np.float32)
    long = max(h, w)
    x, y = (x - w / 2) / long, (y - h / 2) / long
    a = np.radians(light.uneven_to_deg)
    along = x * np.float32(np.cos(a)) + y * np.float32(np.sin(a))
    fall = np.exp(-1.6 * light.uneven * along) * (1.0 - 0.5 * light.uneven * (x * x + y * y))
    return np.asarray(fall, dtype=np.float32)


def vignette(shape: tuple[int, int], loss: float) -> Floats:
    h, w = shape
    y, x = np.mgrid[0:h, 0:w].astype(np.float32)
    r2 = ((x - w / 2) ** 2 + (y - h / 2) ** 2) / (w * w + h * h) * 4.0
    return np.asarray(1.0 - loss * r2, dtype=np.float32)


def shadows(shape: tuple[int, int], light: Light, rng: Rng) -> Floats:
    """How much of the direct light arrives, 0 in full shadow to 1, (h, w)."""
    h, w = shape
    mask = np.full((h, w), 255, dtype=np.uint8)
    for kind in light.shadow.split("+"):
        if kind == "hand":
            _hand(mask, rng)
        elif kind == "phone":
            _phone(mask, rng)
        elif kind == "edge":
            _edge(mask, rng)
        elif kind == "leaves":
            _leaves(mask, rng)
    sigma = max(light.shadow_soft * max(h, w), 0.35)
    return np.asarray(cv2.GaussianBlur(mask, (0, 0), sigma).astype(np.float32) / 255.0, dtype=np.float32)


def _hand(mask: NDArray[np.uint8], rng: Rng) -> None:
    """Arm, palm and fingers from one side."""
    h, w = mask.shape
    size = max(h, w)
    a = rng.uniform(0, 2 * np.pi)
    palm = np.array([w / 2, h / 2]) + rng.uniform(0.05, 0.40) * size * np.array([np.cos(a), np.sin(a)])
    out = palm + size * np.array([np.cos(a), np.sin(a)])
    cv2.line(mask, _at(palm), _at(out), 0, int(0.13 * size), cv2.LINE_AA)
    cv2.ellipse(mask, (_at(palm), (0.22 * size, 0.17 * size), float(np.degrees(a))), 0, -1)
    for finger in (-0.5, -0.2, 0.1, 0.4, 0.9):
        b = a + np.pi + finger + rng.normal(0, 0.06)
        tip = palm + size * rng.uniform(0.16, 0.24) * np.array([np.cos(b), np.sin(b)])
        cv2.line(mask, _at(palm), _at(tip), 0, int(0.034 * size), cv2.LINE_AA)


def _phone(mask: NDArray[np.uint8], rng: Rng) -> None:
    """A rectangle with an arm, since the sun stood behind."""
    h, w = mask.shape
    size = max(h, w)
    a = rng.uniform(0, 2 * np.pi)
    middle = np.array([w / 2, h / 2]) + rng.uniform(0.05, 0.45) * size * np.array([np.cos(a), np.sin(a)])
    box = (
        _at(middle),
        (size * rng.uniform(0.25, 0.34), size * rng.uniform(0.5, 0.65)),
        float(rng.uniform(0, 180)),
    )
    cv2.fillPoly(mask, [np.round(cv2.boxPoints(box)).astype(np.int32)], 0, cv2.LINE_AA)
    out = middle + 1.2 * size * np.array([np.cos(a), np.sin(a)])
    cv2.line(mask, _at(middle), _at(out), 0, int(size * 0.2), cv2.LINE_AA)


def _edge(mask: NDArray[np.uint8], rng: Rng) -> None:
    """A roof's or a body's shadow: one half of the picture."""
    h, w = mask.shape
    a = rng.uniform(0, 2 * np.pi)
    normal = np.array([np.cos(a), np.sin(a)])
    side = np.array([-normal[1], normal[0]])
    middle = np.array([w / 2, h / 2]) + normal * rng.uniform(-0.25, 0.25) * max(h, w)
    far = 3.0 * max(h, w)
    corners = [
        middle + far * side,
        middle - far * side,
        middle - far * side + far * normal,
        middle + far * side + far * normal,
    ]
    cv2.fillPoly(mask, [np.round(np.array(corners)).astype(np.int32)], 0, cv2.LINE_AA)


def _leaves(mask: NDArray[np.uint8], rng: Rng) -> None:
    """Dappled light under a tree."""
    h, w = mask.shape
    small = rng.standard_normal((h // 28 + 2, w // 28 + 2)).astype(np.float32)
    noise = cv2.resize(small, (w, h), interpolation=cv2.INTER_CUBIC)
    mask[noise > rng.uniform(-0.2, 0.5)] = 0


def _at(point: NDArray[np.float64]) -> tuple[int, int]:
    return int(point[0]), int(point[1])


def glare(shape: tuple[int, int], light: Light, rng: Rng) -> Floats | None:
    """Light that the surface mirrors into the lens, added on top (h, w); None if there is none."""
    if light.glare <= 0:
        return None
    h, w = shape
    y, x = np.mgrid[0:h, 0:w].astype(np.float32)
    size = max(h, w)
    cx, cy = w * rng.uniform(0.25, 0.75), h * rng.uniform(0.25, 0.75)
    a = rng.uniform(0, np.pi)
    dx, dy = (x - cx) / size, (y - cy) / size
    u, v = dx * np.cos(a) + dy * np.sin(a), -dx * np.sin(a) + dy * np.cos(a)
    wide, narrow = rng.uniform(0.10, 0.22), rng.uniform(0.05, 0.12)
    core = np.exp(-((u / wide) ** 2) - (v / narrow) ** 2)
    halo = np.exp(-((u / (3 * wide)) ** 2) - (v / (3 * narrow)) ** 2)
    return np.asarray(light.glare * (0.75 * core + 0.25 * halo), dtype=np.float32)
