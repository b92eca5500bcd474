"""The evidence of a card as bytes and back, so that a photo that comes later can be read together with it.

JSON, deflated: about 10 kB a card, four decimals of a logarithm. Nothing in it runs, whoever wrote it.
"""

from __future__ import annotations

import json
import zlib
from typing import Any

import numpy as np

from shortpencil.scan.vision.evidence import ANSWER_SHARES, Evidence

VERSION = 1
MOST_BYTES = 2**20  # a card has some 20 kB; what unpacks to more is none
DECIMALS = 4


def evidence_bytes(evidence: Evidence) -> bytes:
    """Return the bytes that stand for a card's evidence."""
    data = {
        "version": VERSION,
        "bubbles": {
            cell: [round(float(v), DECIMALS) for v in logs] for cell, logs in evidence.bubbles.items()
        },
        "digits": {cell: [round(float(v), DECIMALS) for v in logs] for cell, logs in evidence.digits.items()},
        "words": {cell: round(float(share), DECIMALS) for cell, share in evidence.words.items()},
        "outside": sorted(evidence.outside),
    }
    return zlib.compress(json.dumps(data, separators=(",", ":")).encode())


def evidence_from_bytes(packed: bytes) -> Evidence | None:
    """Return the evidence of bytes written by `evidence_bytes`, of this version; None for any others."""
    unpack = zlib.decompressobj()
    try:
        text = unpack.decompress(packed, MOST_BYTES)
        data = json.loads(text)
        return _evidence(data) if data["version"] == VERSION else None
    except (zlib.error, ValueError, TypeError, KeyError, AttributeError, RecursionError):
        return None


def _evidence(data: dict[str, Any]) -> Evidence:
    bubbles = {str(cell): (float(a), float(b), float(c)) for cell, (a, b, c) in data["bubbles"].items()}
    digits = {str(cell): np.asarray(logs, np.float32) for cell, logs in data["digits"].items()}
    if any(logs.shape != (len(ANSWER_SHARES),) for logs in digits.values()):
        raise ValueError("a digit box has one number an answer")
    words = {str(cell): float(share) for cell, share in data["words"].items()}
    return Evidence(bubbles, digits, words, frozenset(map(str, data["outside"])))
