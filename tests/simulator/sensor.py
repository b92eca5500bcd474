"""From light to a finished picture: mosaic, noise, demosaic, denoise, sharpen, tone, compression, file."""

from __future__ import annotations

import io
import time
from dataclasses import dataclass
from pathlib import Path

import cv2
import numpy as np
from numpy.typing import NDArray

from tests.simulator.pens import Picture, to_srgb

Rng = np.random.Generator
Floats = NDArray[np.float32]
Scene = NDArray[np.uint16]

#: Scene value of a reflectance of 1; leaves room for things brighter than white paper.
WHITE = 40000.0


@dataclass(frozen=True, slots=True)
class Sensor:
    """A phone's sensor and what its software does.

    Attributes
    ----------
    electrons : at full scale; 9000 in daylight, 150 at dusk, which sets the noise
    read_noise : electrons
    denoise, sharpen, contrast : 0..1; grey : a colourless picture
    defocus_px, motion_px, motion_deg : blur in the picture that the sensor takes
    far_defocus_px, far_deg : more blur towards that side of the picture, as of a tilted phone
    fax : above 0 only black and white are left; from 1 on lines get lost
    """

    electrons: float = 6000.0
    read_noise: float = 3.0
    denoise: float = 0.3
    sharpen: float = 0.5
    contrast: float = 0.2
    defocus_px: float = 0.6
    motion_px: float = 0.0
    motion_deg: float = 0.0
    far_defocus_px: float = 0.0
    far_deg: float = 0.0
    grey: bool = False
    fax: float = 0.0


@dataclass(frozen=True, slots=True)
class Output:
    """What is kept: the longer side (None: as taken), quality of each JPEG coding in turn, kind of file."""

    long_px: int | None = None
    qualities: tuple[int, ...] = (88,)
    suffix: str = ".jpg"
    exif_orientation: int = 1


def blurred(scene: Scene, sensor: Sensor) -> Scene:
    """Scene through a lens out of focus, held by a moving hand."""
    if 0 < sensor.defocus_px <= 1.2:
        scene = cv2.GaussianBlur(scene, (0, 0), max(sensor.defocus_px * 0.7, 0.2))
    elif sensor.defocus_px > 1.2:
        scene = cv2.filter2D(scene, -1, disc(sensor.defocus_px))
    if sensor.far_defocus_px > 0.5:
        _blur_far_side(scene, sensor)
    if sensor.motion_px > 0.5:
        scene = cv2.filter2D(scene, -1, streak(sensor.motion_px, sensor.motion_deg))
    return scene


def _blur_far_side(scene: Scene, sensor: Sensor) -> None:
    """Blend in a blurred scene towards one side, in place, in strips since floats of it all are too large."""
    soft = cv2.filter2D(scene, -1, disc(sensor.far_defocus_px))
    h, w = scene.shape[:2]
    a = np.radians(sensor.far_deg)
    x = (np.arange(w, dtype=np.float32) - w / 2) / max(h, w) * np.float32(np.cos(a))
    y = (np.arange(h, dtype=np.float32) - h / 2) / max(h, w) * np.float32(np.sin(a))
    for top in range(0, h, 256):
        share = np.clip(0.25 + 1.9 * (x[None, :] + y[top : top + 256, None]), 0, 1)[..., None]
        part = scene[top : top + 256]
        part[:] = (part * (1 - share) + soft[top : top + 256] * share).astype(np.uint16)


def disc(radius_px: float) -> Floats:
    """Blur kernel of an open lens: an even disc with soft rim."""
    half = int(np.ceil(radius_px))
    y, x = np.mgrid[-half : half + 1, -half : half + 1].astype(np.float32)
    kernel = np.clip(radius_px + 0.5 - np.hypot(x, y), 0, 1).astype(np.float32)
    return np.asarray(kernel / kernel.sum(), dtype=np.float32)


def streak(length_px: float, degrees: float) -> Floats:
    """Blur kernel of a shaken hand: a slightly bent line through the middle of the kernel."""
    half = int(np.ceil(length_px / 2)) + 1
    over = 4
    size = (2 * half + 1) * over
    kernel = np.zeros((size, size), dtype=np.float32)
    t = np.linspace(-0.5, 0.5, 60)
    a = np.radians(degrees)
    x = length_px * t * np.cos(a) - 0.25 * length_px * (t * t - 1 / 12) * np.sin(a)
    y = length_px * t * np.sin(a) + 0.25 * length_px * (t * t - 1 / 12) * np.cos(a)
    points = np.column_stack([x, y]) * over + (size - 1) / 2
    cv2.polylines(kernel, [np.round(points * 8).astype(np.int32)], False, 1.0, over, cv2.LINE_AA, 3)
    small = cv2.resize(kernel, (2 * half + 1, 2 * half + 1), interpolation=cv2.INTER_AREA)
    return np.asarray(small / small.sum(), dtype=np.float32)


def expose(
    scene: Scene, gains: tuple[Floats, Floats, Floats], veil: Floats | None, sensor: Sensor, rng: Rng
) -> Picture:
    """Finished sRGB picture of a scene.

    Parameters
    ----------
    scene : (H, W, 3) linear reflectance times `WHITE`, H and W even
    gains : light per channel on small maps, such that 1 puts a reflectance of 1 at full scale
    veil : light added on top (glare), same scale, or None
    """
    h, w = scene.shape[:2]
    raw = np.empty((h, w), dtype=np.uint16)
    half = (w // 2, h // 2)
    # Red and blue are amplified to make white white, and their noise with them.
    per_channel = (1.9 / sensor.electrons, 1.0 / sensor.electrons, 1.6 / sensor.electrons)
    light = [cv2.resize(g, half, interpolation=cv2.INTER_LINEAR) for g in gains]
    added = None if veil is None else cv2.resize(veil, half, interpolation=cv2.INTER_LINEAR)
    for row, column, channel in ((0, 0, 0), (0, 1, 1), (1, 0, 1), (1, 1, 2)):
        value = scene[row::2, column::2, channel].astype(np.float32)
        value *= light[channel]
        value *= np.float32(1.0 / WHITE)
        if added is not None:
            value += added
        k = np.float32(per_channel[channel])
        floor = np.float32((sensor.read_noise * per_channel[channel]) ** 2)
        noise = rng.standard_normal(value.shape, dtype=np.float32)
        noise *= np.sqrt(value * k + floor)
        value += noise
        np.clip(value, 0.0, 1.0, out=value)
        value *= 65535.0
        raw[row::2, column::2] = value.astype(np.uint16)
    toned = _tone(sensor.contrast)[raw]
    rgb = cv2.cvtColor(toned, cv2.COLOR_BayerRGGB2RGB)
    return finished(rgb, sensor)


def _tone(contrast: float) -> NDArray[np.uint8]:
    """Table (65536,) linear -> sRGB with a phone's S-curve."""
    linear = np.arange(65536, dtype=np.float32) / 65535.0
    encoded = to_srgb(linear).astype(np.float32) / 255.0
    curved = encoded + contrast * 0.35 * np.sin(2 * np.pi * (encoded - 0.0)) * -0.35
    return np.clip(curved * 255.0 + 0.5, 0, 255).astype(np.uint8)


def finished(rgb: Picture, sensor: Sensor) -> Picture:
    y, cr, cb = cv2.split(cv2.cvtColor(rgb, cv2.COLOR_RGB2YCrCb))
    noise = 255.0 / np.sqrt(sensor.electrons) * 0.8
    if sensor.denoise > 0:
        sigma = 0.8 + 6.0 * sensor.denoise * min(noise / 10.0, 2.0)
        cr, cb = cv2.GaussianBlur(cr, (0, 0), sigma), cv2.GaussianBlur(cb, (0, 0), sigma)
        if noise > 4.0:
            # Night modes paint over noise: flat areas turn smooth, faint detail goes with it.
            size = 5 if noise < 12 else 7
            y = cv2.bilateralFilter(y, size, float(noise * 2.4 * sensor.denoise), size / 2.0)
    if sensor.sharpen > 0:
        soft = cv2.GaussianBlur(y, (0, 0), 1.1)
        y = cv2.addWeighted(y, 1.0 + 1.4 * sensor.sharpen, soft, -1.4 * sensor.sharpen, 0)
    if sensor.grey:
        return cv2.merge([y, y, y])
    return np.asarray(cv2.cvtColor(cv2.merge([y, cr, cb]), cv2.COLOR_YCrCb2RGB), dtype=np.uint8)


def one_bit(rgb: Picture, amount: float, rng: Rng) -> Picture:
    """The picture as a fax machine sends it: black or white, by one level for the whole page."""
    level = float(np.percentile(rgb[::5, ::5, 1], 80)) * float(
        rng.uniform(0.72, 0.82) - 0.1 * min(amount, 1.0)
    )
    black = rgb[..., 1].astype(np.float32) + rng.standard_normal(rgb.shape[:2], dtype=np.float32) * 6 < level
    if amount >= 1:
        for row in rng.integers(1, len(black), int(40 * amount)):
            black[row] = black[row - 1]  # a line that did not arrive is shown as the one before
    return np.repeat(np.where(black, 0, 255).astype(np.uint8)[..., None], 3, axis=2)


def recoded(rgb: Picture, quality: int) -> Picture:
    """The picture after a JPEG of that quality."""
    done, data = cv2.imencode(
        ".jpg", cv2.cvtColor(rgb, cv2.COLOR_RGB2BGR), [cv2.IMWRITE_JPEG_QUALITY, int(quality)]
    )
    assert done, "a picture of bytes can always be coded"
    return np.asarray(cv2.cvtColor(cv2.imdecode(data, cv2.IMREAD_COLOR), cv2.COLOR_BGR2RGB), dtype=np.uint8)


#: PIL transpositions that turn the upright picture into what a camera with that EXIF orientation stores
#: (Exif 2.32, tag 0x0112: 3 is upside down, 6 needs a quarter turn clockwise to be shown, 8 one the other
#: way).
_STORED = {1: None, 3: "ROTATE_180", 6: "ROTATE_90", 8: "ROTATE_270"}


def encoded(rgb: Picture, output: Output, dpi: float = 200.0) -> bytes:
    """File bytes of the picture; viewers that obey the EXIF orientation show `rgb`."""
    from PIL import Image

    image = Image.fromarray(rgb)
    turn = _STORED[output.exif_orientation]
    if turn is not None:
        image = image.transpose(getattr(Image.Transpose, turn))
    exif = Image.Exif()
    if output.exif_orientation != 1:
        exif[0x0112] = output.exif_orientation
    stream = io.BytesIO()
    quality = int(output.qualities[-1]) if output.qualities else 90
    suffix = output.suffix
    if suffix == ".jpg":
        sampling = "4:2:0" if quality < 92 else "4:4:4"
        image.save(stream, "JPEG", quality=quality, subsampling=sampling, exif=exif)
    elif suffix == ".png":
        image.save(stream, "PNG", exif=exif)
    elif suffix == ".webp":
        image.save(stream, "WEBP", quality=quality, exif=exif)
    elif suffix == ".tif":
        image.save(stream, "TIFF", compression="tiff_lzw", exif=exif)
    elif suffix == ".heic":
        import pillow_heif

        pillow_heif.register_heif_opener()
        image.save(stream, "HEIF", quality=quality, exif=exif)
    elif suffix == ".pdf":
        # Fixed dates, so that the same picture gives the same file.
        then = time.gmtime(0)
        image.save(stream, "PDF", resolution=dpi, quality=quality, creationDate=then, modDate=then)
    else:
        raise ValueError(f"expected .jpg, .png, .webp, .tif, .heic or .pdf, found {suffix!r}")
    return stream.getvalue()


def save(rgb: Picture, path: Path, output: Output) -> None:
    """Write the picture to `path`, whose suffix must be the output's."""
    if path.suffix != output.suffix:
        raise ValueError(f"{path.name}: the suffix must be {output.suffix!r}")
    path.write_bytes(encoded(rgb, output))
