"""Runs the small networks in NumPy: convolutions, and for digits a whole chain of them with a dense layer.

All the work is products of matrices, which NumPy's library does at full speed. Pictures lie as (n, rows,
columns, channels) and go a few at a time through the same memory, which then stays in the processor's cache.
66 boxes of the first network and 11 of the second take 36 and 34 ms, by OpenCV 5.0 in turn with it 45 and 43,
without the short way 37 and 43.

References
----------
A. Lavin, S. Gray, "Fast algorithms for convolutional neural networks", 2015 (arXiv:1509.09308), section 4.3
"""

from __future__ import annotations

import math
import threading
from collections.abc import Sequence
from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

from shortpencil.scan.vision.seeing.onnx_file import SIDE, Convolution, chain_of

__all__ = ["Chain", "Memory", "SideBySide"]

Floats32 = NDArray[np.float32]

#: Pictures that go through all layers together, at most: 66 of the first network take 34.3 ms by 6, 31.9 by
#: 8, 31.7 by 12 and 30.9 by 16, 18 of the second 54.8, 54.4, 52.5 and 52.7. More take more memory.
_AT_ONCE = 12

#: Places in a row of a picture, at most.
_WIDEST = 32


class Memory:
    """Arrays that are used again: asking twice for a name gives the same memory, whatever the shape."""

    def __init__(self) -> None:
        self._held: dict[str, Floats32] = {}
        self._shaped: dict[tuple[str, tuple[int, ...]], Floats32] = {}

    def array(self, name: str, *shape: int) -> Floats32:
        """Return an array of that shape with anything in it."""
        shaped = self._shaped.get((name, shape))
        return self._made(name, shape) if shaped is None else shaped

    def _made(self, name: str, shape: tuple[int, ...]) -> Floats32:
        size = math.prod(shape)
        held = self._held.get(name)
        if held is None or len(held) < size:
            held = self._held[name] = np.empty(size, np.float32)
            self._shaped = {key: array for key, array in self._shaped.items() if key[0] != name}
        self._shaped[name, shape] = held[:size].reshape(shape)
        return self._shaped[name, shape]

    def framed(self, pictures: Floats32, rim: int) -> Floats32:
        """Return pictures (n, rows, columns, channels) with so many rows and columns of 0 around each."""
        n, rows, columns, channels = pictures.shape
        wide = self.array("framed", n, rows + 2 * rim, columns + 2 * rim, channels)
        wide[:, :rim] = wide[:, -rim:] = wide[:, :, :rim] = wide[:, :, -rim:] = 0
        wide[:, rim:-rim, rim:-rim] = pictures
        return wide


def _cut_off(found: Floats32) -> None:
    """Make what is below 0 in an array without gaps 0; NumPy's `maximum` takes eight times as long."""
    flat = found.reshape(-1)
    cv2.threshold(flat, 0.0, 0.0, cv2.THRESH_TOZERO, dst=flat)


def _view(framed: Floats32, shape: tuple[int, ...], strides: tuple[int, ...]) -> Floats32:
    """Return overlapping parts of an array, as NumPy's `as_strided`, which is made in Python and slower."""
    return np.ndarray(shape, np.float32, framed, 0, strides)


@dataclass(frozen=True, slots=True)
class _Layer:
    """A convolution by one product: a place's neighbours, side by side, times all weights.

    `side` of its square kernel is odd, and the pictures get half of it around, so that a stride of 1 keeps
    their size and one of 2 halves it.
    """

    weights: Floats32  # (side * side * in, out)
    bias: Floats32
    biases: Floats32  # the same for each place of a row, of up to `_WIDEST`
    stride: int
    side: int

    def of(self, pictures: Floats32, out: str, memory: Memory) -> Floats32:
        """Return what it finds in pictures (n, rows, columns, in), cut off below 0, in memory named `out`."""
        n, rows, columns, channels = pictures.shape
        rows, columns = -(-rows // self.stride), -(-columns // self.stride)
        framed = memory.framed(pictures, self.side // 2)
        down, across = self.stride * framed.strides[1], self.stride * framed.strides[2]
        seen = _view(
            framed,
            (n, rows, columns, self.side, self.side, channels),
            (framed.strides[0], down, across, *framed.strides[1:]),
        )
        if channels == 1:  # turned, so that what is copied lies in runs of a row and not of three numbers
            turned = memory.array("beside", self.side, self.side, n, rows, columns)
            np.copyto(turned, seen[..., 0].transpose(3, 4, 0, 1, 2))
            beside = turned.reshape(self.side**2, -1).T
        else:
            copied = memory.array("beside", *seen.shape)
            np.copyto(copied, seen)
            beside = copied.reshape(n * rows * columns, -1)
        found = memory.array(out, n * rows * columns, len(self.bias))
        np.matmul(beside, self.weights, out=found)
        along = found.reshape(n * rows, -1)  # one long sum a row of places, not a short one a place
        along += self.biases[: columns * len(self.bias)]
        _cut_off(found)
        return found.reshape(n, rows, columns, -1)


@dataclass(frozen=True, slots=True)
class SideBySide:
    """A convolution of pictures (in, rows, columns, n) that lie side by side along the last axis.

    For many small pictures with few channels: what is copied are runs of one place of all pictures, where
    `_Layer` copies a place's neighbours, ten numbers of each picture. `side` and `stride` are as there.
    """

    weights: Floats32  # (side * side * in, out)
    bias: Floats32
    stride: int
    side: int

    def of(self, pictures: Floats32, name: str, memory: Memory) -> Floats32:
        """Return what it finds, (out, rows, columns, n), cut off below 0, in memory of that name."""
        channels, rows, columns, n = pictures.shape
        rim = self.side // 2
        framed = memory.array(f"{name} framed", channels, rows + 2 * rim, columns + 2 * rim, n)
        framed[:, :rim] = framed[:, -rim:] = framed[:, :, :rim] = framed[:, :, -rim:] = 0
        framed[:, rim:-rim, rim:-rim] = pictures
        rows, columns = -(-rows // self.stride), -(-columns // self.stride)
        channel, down, across, along = framed.strides
        seen = _view(
            framed,
            (self.side, self.side, channels, rows, columns, n),
            (down, across, channel, self.stride * down, self.stride * across, along),
        )
        beside = memory.array(f"{name} beside", *seen.shape)
        np.copyto(beside, seen)
        found = memory.array(name, len(self.bias), rows * columns * n)
        np.matmul(self.weights.T, beside.reshape(len(self.weights), -1), out=found)
        found += self.bias[:, None]
        _cut_off(found)
        return found.reshape(-1, rows, columns, n)


#: B^T, G and A^T of F(4 x 4, 3 x 3), equations (15) to (17) there.
_INTO = np.array(
    [[4, 0, -5, 0, 1, 0], [0, -4, -4, 1, 1, 0], [0, 4, -4, -1, 1, 0],
     [0, -2, -1, 2, 1, 0], [0, 2, -1, -2, 1, 0], [0, 4, 0, -5, 0, 1]], np.float64,
)  # fmt: skip
_KERNEL = np.array(
    [[1 / 4, 0, 0], [-1 / 6, -1 / 6, -1 / 6], [-1 / 6, 1 / 6, -1 / 6],
     [1 / 24, 1 / 12, 1 / 6], [1 / 24, -1 / 12, 1 / 6], [0, 0, 1]], np.float64,
)  # fmt: skip
_OUT = np.array(
    [[1, 1, 1, 1, 1, 0], [0, 1, -1, 2, -2, 0], [0, 1, 1, 4, 4, 0], [0, 1, -1, 8, -8, 1]], np.float64
)
#: The same for rows and columns at once: (36, 36), (36, 9) and (16, 36), for products of large matrices.
_INTO_BOTH, _KERNEL_BOTH, _OUT_BOTH = (np.kron(one, one).astype(np.float32) for one in (_INTO, _KERNEL, _OUT))
_TILE, _SEEN = 4, 6


@dataclass(frozen=True, slots=True)
class _ShortLayer:
    """A convolution of 3 x 3 that keeps the size, worked out four by four places at a time from six by six.

    Turned by `_INTO_BOTH`, each of 36 places asks for one product over the channels: a quarter of the
    multiplications.
    """

    weights: Floats32  # (36, in, out)
    bias: Floats32

    def of(self, pictures: Floats32, out: str, memory: Memory) -> Floats32:
        """Return what `_Layer.of` does."""
        n, height, width, channels = pictures.shape
        rows, columns, wide = -(-height // _TILE), -(-width // _TILE), len(self.bias)
        framed = memory.array("framed", n, _TILE * rows + 2, _TILE * columns + 2, channels)
        framed[:, 0] = framed[:, height + 1 :] = framed[:, :, 0] = framed[:, :, width + 1 :] = 0
        framed[:, 1 : height + 1, 1 : width + 1] = pictures
        picture, down, across, along = framed.strides
        seen = _view(
            framed,
            (_SEEN, _SEEN, n, rows, columns, channels),
            (down, across, picture, _TILE * down, _TILE * across, along),
        )
        tiles = memory.array("beside", *seen.shape)
        np.copyto(tiles, seen)
        turned = memory.array("turned", _SEEN**2, n * rows * columns, channels)
        np.matmul(_INTO_BOTH, tiles.reshape(_SEEN**2, -1), out=turned.reshape(_SEEN**2, -1))
        products = memory.array("products", _SEEN**2, n * rows * columns, wide)
        np.matmul(turned, self.weights, out=products)
        back = memory.array("back", _TILE**2, n * rows * columns * wide)
        np.matmul(_OUT_BOTH, products.reshape(_SEEN**2, -1), out=back)
        found = memory.array(out, n, rows, _TILE, columns, _TILE, wide)
        laid = back.reshape(_TILE, _TILE, n, rows, columns, wide).transpose(2, 3, 0, 4, 1, 5)
        np.add(laid, self.bias, out=found)
        _cut_off(found)
        return found.reshape(n, _TILE * rows, _TILE * columns, wide)[:, :height, :width]


def _layer(of: Convolution) -> _Layer | _ShortLayer:
    wide, channels = of.weights.shape[:2]
    turned = of.weights.reshape(wide, -1).T.reshape(channels, SIDE * SIDE, wide)
    by_place = turned.transpose(1, 0, 2).reshape(SIDE * SIDE, channels * wide)
    if of.stride == 1 and channels > 1:
        return _ShortLayer((_KERNEL_BOTH @ by_place).reshape(_SEEN**2, channels, wide), of.bias)
    biases = np.tile(of.bias, _WIDEST)
    return _Layer(np.ascontiguousarray(by_place.reshape(-1, wide)), of.bias, biases, of.stride, SIDE)


#: The networks of a process take turns in the same memory: 3 MB less than one each.
_MEMORY, _BUSY = Memory(), threading.Lock()


class Chain:
    """The network of a file, called with views (N, 1, rows, columns); several threads may share it."""

    def __init__(self, model: bytes) -> None:
        convolutions, dense = chain_of(model)
        self._layers = [_layer(convolution) for convolution in convolutions]
        self._weights, self._bias = np.ascontiguousarray(dense.weights.T), dense.bias

    def __call__(self, views: Floats32, outputs: list[str]) -> Sequence[Floats32]:
        """Return "scores" (N, A) and "flat", the last hidden layer (N, D), as named in `outputs`."""
        flat = np.empty((len(views), len(self._weights)), np.float32)
        with _BUSY:
            parts = max(-(-len(views) // _AT_ONCE), 1)
            size = max(-(-len(views) // parts), 1)  # of one size: a part of two that is left over is dear
            for start in range(0, len(views), size):
                at = views[start : start + size, 0, :, :, None]
                for number, layer in enumerate(self._layers):
                    at = layer.of(at, ("even", "odd")[number % 2], _MEMORY)
                # The file's order: channels, rows, columns.
                flat[start : start + size] = at.transpose(0, 3, 1, 2).reshape(len(at), -1)
        found = {"flat": flat, "scores": flat @ self._weights + self._bias}
        return [found[name] for name in outputs]
