"""Glyphs as distance fields, so that one drawing serves for every pen, stroke width and size.

A glyph is kept on a grid of 56 x 56 px (an MNIST image enlarged twice) as three fields: `raw`, the picture
itself; `edge`, the signed distance to the outline of its ink (stroke width as written, made bolder or finer);
`spine`, the distance to the middle line of its strokes (the same hand with a pen of any width). Distances in
grid px.
"""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import torch
from torch import Tensor
from torch.nn import functional

from shortpencil.scan.vision.training.strokes import Drawings

GRID_PX = 56
STEPS_PER_PX = 8  # fields are stored as uint8, an eighth of a pixel each
EDGE_ZERO = 128

_FAR = 1e6


@dataclass(frozen=True, slots=True)
class Bank:
    """Glyphs on one device.

    fields (G, 3, 56, 56) uint8: raw, edge, spine; frames (G, 4): centre x, y, width and height of the middle
    line, grid px; answers (G,): 0 to 9 or 11; kinds (G,): 0 digit, 1 symbol, 2 scribble.
    """

    fields: Tensor
    frames: Tensor
    answers: Tensor
    kinds: Tensor

    def where(self, mask: Tensor) -> Tensor:
        """Numbers of the glyphs that a mask names."""
        return torch.nonzero(mask, as_tuple=False)[:, 0]


def _neighbours(ink: Tensor) -> list[Tensor]:
    """The eight neighbours P2 to P9 of Zhang and Suen, clockwise from the top."""
    p = functional.pad(ink, (1, 1, 1, 1))
    h, w = ink.shape[-2:]
    at = [(0, 1), (0, 2), (1, 2), (2, 2), (2, 1), (2, 0), (1, 0), (0, 0)]
    return [p[..., y : y + h, x : x + w] for y, x in at]


def thin(ink: Tensor) -> Tensor:
    """Middle lines of boolean masks (N, H, W).

    References
    ----------
    Zhang, Suen 1984, "A fast parallel algorithm for thinning digital patterns", CACM 27(3), 236-239.
    """
    now = ink.to(torch.uint8)
    while True:
        before = now
        for first_half in (True, False):
            n = _neighbours(now)
            # Added one by one in uint8: sum() over a stack would go through int64, ten times slower.
            count, rises = torch.zeros_like(now), torch.zeros_like(now)
            for k in range(8):
                count += n[k]
                rises += (1 - n[k]) * n[(k + 1) % 8]
            p2, p4, p6, p8 = n[0], n[2], n[4], n[6]
            free = (p2 * p4 * p6 == 0) & (p4 * p6 * p8 == 0)
            if not first_half:
                free = (p2 * p4 * p8 == 0) & (p2 * p6 * p8 == 0)
            drop = (now == 1) & (count >= 2) & (count <= 6) & (rises == 1) & free
            now = now * (~drop).to(torch.uint8)
        if torch.equal(now, before):
            return now.bool()


def _in_parts(batch: Tensor) -> list[Tensor]:
    """A batch cut so that its (N, H, W, W) products stay in the CPU's cache, or in 2 GB on a GPU."""
    size = 8 if batch.device.type == "cpu" else 1024
    return [batch[start : start + size] for start in range(0, len(batch), size)]


def distance(target: Tensor) -> Tensor:
    """Euclidean distance of every pixel to the nearest True one; masks (N, H, W), exact.

    References
    ----------
    Felzenszwalb, Huttenlocher 2012, "Distance transforms of sampled functions" (two passes of parabolas; here
    the minimum is taken by brute force, since the grids are small and a batch of them keeps the device busy).
    """
    at = torch.arange(target.shape[-1], device=target.device, dtype=torch.float32)
    apart = ((at[:, None] - at[None, :]) ** 2)[None, None]  # square grid: (to, from) serves both ways
    done = []
    for part in _in_parts(torch.where(target, 0.0, _FAR)):
        across = (part[:, :, None, :] + apart).amin(dim=3)
        down = (across.transpose(1, 2)[:, :, None, :] + apart).amin(dim=3).transpose(1, 2)
        done.append(down.clamp(max=_FAR).sqrt())
    return torch.cat(done)


def _packed(raw: Tensor, edge: Tensor, spine: Tensor) -> Tensor:
    return torch.stack(
        [
            (raw * 255).round().clamp(0, 255),
            (edge * STEPS_PER_PX + EDGE_ZERO).round().clamp(0, 255),
            (spine * STEPS_PER_PX).round().clamp(0, 255),
        ],
        dim=1,
    ).to(torch.uint8)


def _frames(spine_mask: Tensor) -> Tensor:
    """Centre and size of the box around True pixels (N, H, W) -> (N, 4)."""
    sides = []
    for axis in (1, 2):  # over rows gives x, over columns gives y
        hit = spine_mask.any(dim=axis)
        place = torch.arange(hit.shape[1], device=hit.device, dtype=torch.float32)
        low = torch.where(hit, place, _FAR).amin(dim=1)
        high = torch.where(hit, place, -1.0).amax(dim=1)
        sides.append(((low + high) / 2, high - low))
    (cx, width), (cy, height) = sides
    return torch.stack([cx, cy, width.clamp(min=1), height.clamp(min=1)], dim=1)


def of_images(
    images: np.ndarray[tuple[int, ...], np.dtype[np.uint8]], device: torch.device
) -> tuple[Tensor, Tensor]:
    """Fields and frames of pictures (N, S, S), 255 = ink; 28 or 40 px a side."""
    fields, frames = [], []
    for start in range(0, len(images), 256):
        small = torch.from_numpy(images[start : start + 256].astype(np.float32) / 255).to(device)
        raw = functional.interpolate(
            small[:, None], size=(GRID_PX, GRID_PX), mode="bicubic", align_corners=False
        )[:, 0].clamp(0, 1)
        ink = raw > 0.5
        # A very faint picture would have no ink at all: take its darkest part.
        faint = ~ink.flatten(1).any(dim=1)
        ink[faint] = raw[faint] > 0.5 * raw[faint].flatten(1).amax(dim=1)[:, None, None]
        middle = thin(ink)
        edge = distance(ink) - distance(~ink)
        edge = edge - torch.sign(edge) * 0.5  # the outline runs between two pixels
        fields.append(_packed(raw, edge, distance(middle)))
        frames.append(_frames(middle))
    return torch.cat(fields), torch.cat(frames)


def of_drawings(drawings: Drawings, device: torch.device) -> tuple[Tensor, Tensor]:
    """Fields and frames of stroke drawings; the unit square becomes the middle 40 px of the grid."""
    side, margin = 40.0, (GRID_PX - 40.0) / 2
    generator = torch.Generator().manual_seed(len(drawings.answers))
    radius = (1.5 + 2.0 * torch.rand(len(drawings.answers), generator=generator)).to(device)
    at = torch.arange(GRID_PX, device=device, dtype=torch.float32)
    fields, frames = [], []
    step = 8 if device.type == "cpu" else 512
    for start in range(0, len(drawings.answers), step):
        s = torch.from_numpy(drawings.segments[start : start + step]).to(device) * side + margin
        x0, y0, x1, y1 = (s[:, :, k, None, None] for k in range(4))
        dx, dy = x1 - x0, y1 - y0
        px, py = at[None, None, None, :] - x0, at[None, None, :, None] - y0
        t = ((px * dx + py * dy) / (dx * dx + dy * dy).clamp(min=1e-6)).clamp(0, 1)
        spine = ((px - t * dx) ** 2 + (py - t * dy) ** 2).amin(dim=1).sqrt()
        r = radius[start : start + step, None, None]
        fields.append(_packed((0.5 + r - spine).clamp(0, 1), spine - r, spine))
        low = torch.minimum(s[:, :, :2], s[:, :, 2:]).amin(dim=1)
        high = torch.maximum(s[:, :, :2], s[:, :, 2:]).amax(dim=1)
        frames.append(torch.cat([(low + high) / 2, (high - low).clamp(min=1)], dim=1))
    return torch.cat(fields), torch.cat(frames)


def of_pictures(
    images: np.ndarray[tuple[int, ...], np.dtype[np.uint8]],
    labels: np.ndarray[tuple[int, ...], np.dtype[np.int64]],
    device: torch.device,
) -> Bank:
    """A bank of pictures of digits."""
    fields, frames = of_images(images, device)
    answers = torch.from_numpy(labels.astype(np.int64)).to(device)
    return Bank(fields, frames, answers, torch.zeros_like(answers))


def of_strokes(drawings: Drawings, device: torch.device) -> Bank:
    """A bank of drawings."""
    fields, frames = of_drawings(drawings, device)
    answers, kinds = (torch.from_numpy(part).to(device) for part in (drawings.answers, drawings.kinds))
    return Bank(fields, frames, answers, kinds)


def joined(banks: Sequence[Bank]) -> Bank:
    """One bank of several, in their order."""
    return Bank(*(torch.cat([getattr(bank, name) for bank in banks]) for name in Bank.__slots__))


def build(
    images: np.ndarray[tuple[int, ...], np.dtype[np.uint8]],
    labels: np.ndarray[tuple[int, ...], np.dtype[np.int64]],
    drawings: Drawings,
    device: torch.device,
) -> Bank:
    """One bank of pictures and drawings, the pictures first."""
    return joined([of_pictures(images, labels, device), of_strokes(drawings, device)])
