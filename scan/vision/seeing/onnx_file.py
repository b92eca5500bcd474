"""Reads the digit networks' files: a chain of convolutions and a dense layer, as `training.export` writes it.

Nothing but that chain is understood, so a hundred lines do what a library of megabytes would. An ONNX file is
a message of Protocol Buffers: numbered fields, each a whole number or bytes, which may be a message again.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

__all__ = ["Convolution", "Dense", "chain_of"]

# Numbers of fields in onnx.proto (ONNX 1.16): ModelProto, GraphProto, NodeProto, AttributeProto, TensorProto.
_GRAPH, _NODE, _INITIALIZER = 7, 1, 5
_INPUT, _OP, _ATTRIBUTE = 1, 4, 5
_NAME, _INTS = 1, 8
_DIMS, _DATA_TYPE, _TENSOR_NAME, _RAW = 1, 2, 8, 9
_FLOAT16 = 10
_PASSED_OVER = {"Cast", "Relu", "Flatten"}  # weights are cast when read; where the others stand is known
SIDE = 3  #: of every kernel


@dataclass(frozen=True, slots=True)
class Convolution:
    """Weights (out, in, 3, 3) and bias (out,) of a convolution; with a stride of 2 it halves the size."""

    weights: NDArray[np.float32]
    bias: NDArray[np.float32]
    stride: int


@dataclass(frozen=True, slots=True)
class Dense:
    """Weights (out, in) and bias (out,) of the last layer, over channels, rows, columns in this order."""

    weights: NDArray[np.float32]
    bias: NDArray[np.float32]


def chain_of(model: bytes) -> tuple[list[Convolution], Dense]:
    """Return the convolutions, each followed by a cut-off below 0, and the dense layer at the end.

    Raises
    ------
    ValueError
        when the file holds anything else
    """
    graphs = [_bytes(value) for field, value in _fields(memoryview(model)) if field == _GRAPH]
    graph = graphs[0] if graphs else memoryview(b"")
    held: dict[str, NDArray[np.float32]] = {}
    convolutions: list[Convolution] = []
    dense = None
    for field, value in _fields(graph):
        if field == _INITIALIZER:
            name, array = _tensor(_bytes(value))
            held[name.removesuffix("_half")] = array
    for field, value in _fields(graph):
        if field != _NODE:
            continue
        parts = list(_fields(_bytes(value)))
        (op,) = (bytes(_bytes(part)).decode() for number, part in parts if number == _OP)
        inputs = [bytes(_bytes(part)).decode() for number, part in parts if number == _INPUT]
        if op == "Conv":
            strides = [_ints(_bytes(part), "strides") for number, part in parts if number == _ATTRIBUTE]
            (stride,) = {step for found in strides for step in found}
            convolutions.append(Convolution(held[inputs[1]], held[inputs[2]], stride))
        elif op == "Gemm":
            dense = Dense(held[inputs[1]], held[inputs[2]])
        elif op not in _PASSED_OVER:
            raise ValueError(f"expected a chain of convolutions and a dense layer, found {op}")
    if dense is None or any(layer.weights.shape[2:] != (SIDE, SIDE) for layer in convolutions):
        raise ValueError("expected convolutions of 3 x 3 and a dense layer at the end")
    return convolutions, dense


def _tensor(message: memoryview) -> tuple[str, NDArray[np.float32]]:
    """Name and value of weights that are kept in half precision."""
    shape: list[int] = []
    name, raw, kind = "", memoryview(b""), None
    for field, value in _fields(message):
        if field == _DIMS and isinstance(value, int):
            shape.append(value)
        elif field == _DATA_TYPE:
            kind = value
        elif field == _TENSOR_NAME:
            name = bytes(_bytes(value)).decode()
        elif field == _RAW:
            raw = _bytes(value)
    if kind != _FLOAT16:
        raise ValueError(f"{name}: expected weights in half precision, found type {kind}")
    return name, np.frombuffer(raw, "<f2").astype(np.float32).reshape(shape)


def _ints(message: memoryview, wanted: str) -> list[int]:
    """The whole numbers of an attribute if it has that name, else none."""
    parts = list(_fields(message))
    if not any(field == _NAME and bytes(_bytes(value)).decode() == wanted for field, value in parts):
        return []
    return [value for field, value in parts if field == _INTS and isinstance(value, int)]


def _bytes(value: int | memoryview) -> memoryview:
    if isinstance(value, int):
        raise ValueError("expected a message or text in the network's file, found a number")
    return value


def _fields(message: memoryview) -> Iterator[tuple[int, int | memoryview]]:
    """Yield number and value of each field (Protocol Buffers' encoding: wire types 0, 1, 2 and 5)."""
    at = 0
    while at < len(message):
        key, at = _varint(message, at)
        value: int | memoryview
        match key & 7:
            case 0:
                value, at = _varint(message, at)
            case 2:
                length, at = _varint(message, at)
                value, at = message[at : at + length], at + length
            case 1 | 5 as wire:
                length = 8 if wire == 1 else 4
                value, at = message[at : at + length], at + length
            case wire:
                raise ValueError(f"expected a network's file, found wire type {wire}")
        yield key >> 3, value


def _varint(message: memoryview, at: int) -> tuple[int, int]:
    """A whole number of seven bits a byte, the lowest first, and where what follows begins."""
    value = shift = 0
    while True:
        if at == len(message):
            raise ValueError("expected a network's file, found one that breaks off")
        byte = message[at]
        value |= (byte & 0x7F) << shift
        at, shift = at + 1, shift + 7
        if byte < 0x80:
            return value, at
