"""Printed paper: from the PDF to reflectance, through printers, copiers and years in a bag."""

from __future__ import annotations

import cv2
import numpy as np
import pypdfium2
from numpy.typing import NDArray

Floats = NDArray[np.float32]


def toner_of(pdf: bytes, px_mm: float, shape: tuple[int, int]) -> Floats:
    """Coverage 0..1 of the first page of ``pdf``."""
    page = pypdfium2.PdfDocument(pdf)[0]
    grey = page.render(scale=px_mm * 25.4 / 72, grayscale=True).to_numpy()
    grey = grey[..., 0] if grey.ndim == 3 else grey
    return 1 - cv2.resize(grey, shape[::-1], interpolation=cv2.INTER_AREA).astype(np.float32) / 255


PRINTERS = ["laser", "inkjet", "weak", "economy"]


def printed(
    rng: np.random.Generator, toner: Floats, px_mm: float, hardness: float, kind: str | None = None
) -> Floats:
    """Absorbance of the print by a laser or ink printer that is more or less well."""
    usual = str(rng.choice(PRINTERS, p=[0.5, 0.25, 0.13 + 0.06 * hardness, 0.12 - 0.06 * hardness]))
    kind = kind or usual
    t = cv2.GaussianBlur(toner, (0, 0), rng.uniform(0.02, 0.05) * px_mm)
    if kind in ("laser", "economy"):  # greys become dots: screened at 85 to 141 lines an inch
        pitch = 25.4 / rng.uniform(85, 141) * px_mm
        y, x = np.mgrid[: t.shape[0], : t.shape[1]].astype(np.float32)
        screen = (
            np.cos(2 * np.pi * (x + y) / (1.414 * pitch)) + np.cos(2 * np.pi * (x - y) / (1.414 * pitch))
        ) / 4 + 0.5
        t = np.clip((t - screen * 0.8 - 0.1) * 2.5 + 0.5, 0, 1) * (t > 0.02)
    densities = {
        "laser": 2.2,
        "inkjet": 1.6,
        "weak": rng.uniform(0.35, 0.9),
        "economy": rng.uniform(0.8, 1.4),
    }
    density = densities[kind]
    if kind == "weak":
        bands = np.interp(np.arange(t.shape[1]), np.linspace(0, t.shape[1], 12), rng.uniform(0.4, 1.15, 12))
        t = t * bands[None, :].astype(np.float32)
    return (density * t).astype(np.float32)


def copied(
    rng: np.random.Generator, absorbance: Floats, px_mm: float, hardness: float
) -> tuple[Floats, NDArray[np.float64]]:
    """An office copier: scans, sharpens, drives the tone apart, prints again; and how it moved the page."""
    seen = np.exp(-absorbance)
    seen = cv2.GaussianBlur(seen, (0, 0), rng.uniform(0.04, 0.09) * px_mm)
    seen += 0.8 * (seen - cv2.GaussianBlur(seen, (0, 0), 0.25 * px_mm))
    seen += rng.normal(0, 0.015, seen.shape).astype(np.float32)
    middle = rng.uniform(0.42, 0.72) + hardness * rng.uniform(-0.12, 0.12)
    steep = rng.uniform(5, 16)
    again = 1 / (1 + np.exp(steep * (seen - middle)))
    again = np.clip((again - 0.02) / 0.96, 0, 1)
    specks = (rng.random(again.shape) < 2e-6 * (1 + 4 * hardness)).astype(np.float32)
    again = np.maximum(
        again, np.minimum(1, cv2.GaussianBlur(specks, (0, 0), 0.1 * px_mm) * 60 * (0.1 * px_mm) ** 2)
    )
    h, w = again.shape
    turn = cv2.getRotationMatrix2D((w / 2, h / 2), rng.normal(0, 0.4), 1 + rng.normal(-0.005, 0.01))
    turn[:, 2] += rng.normal(0, 1.0, 2) * px_mm
    moved = 2.0 * cv2.warpAffine(again.astype(np.float32), turn, (w, h), flags=cv2.INTER_LINEAR)
    return moved.astype(np.float32), turn


def paper_colour(rng: np.random.Generator) -> NDArray[np.float64]:
    """Reflectance of the sheet in R, G, B."""
    kinds = [
        (0.86, 0.87, 0.88),
        (0.9, 0.9, 0.88),
        (0.82, 0.82, 0.78),
        (0.9, 0.87, 0.66),
        (0.72, 0.82, 0.9),
        (0.85, 0.8, 0.74),
    ]
    return np.array(kinds[int(rng.choice(6, p=[0.4, 0.25, 0.15, 0.09, 0.04, 0.07]))]) * rng.uniform(
        0.95, 1.05
    )
