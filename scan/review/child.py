"""The process that decodes one uploaded photo and ends: started warm, limited, and believed in nothing.

It loads what reading needs, gives up what it must not have (memory, time, new files beyond a few MB), says
that it is ready, takes one job and writes one line of JSON. The parent parses plain text from it and never
decodes a picture itself, so a photo made to break a decoder breaks a process that knows nothing and is gone
at once.
"""

from __future__ import annotations

import json
import sys
import tempfile
from base64 import b64encode
from itertools import zip_longest
from pathlib import Path
from typing import Any

from shortpencil.scan.limits import limit

READY = b"ready\n"


def read(
    path: Path,
    forms: Path,
    most_pixels: int,
    hands: Path | None = None,
    typed: tuple[str, str] | None = None,
) -> dict[str, Any]:
    """Return what a file says, as plain types.

    Parameters
    ----------
    hands : a file with what is known of players' hands
    typed : serial and fingerprint of its one card, in case its code cannot be read
    """
    from shortpencil.forms.catalog import Catalog
    from shortpencil.scan.intake import read_file
    from shortpencil.scan.joining import one_a_round
    from shortpencil.scan.records.recording.kept import hands_from_text, reading_text
    from shortpencil.scan.vision.opening import photo
    from shortpencil.scan.vision.seeing.known_hands import Hands

    photo.MAX_PIXELS = most_pixels
    tempfile.tempdir = str(path.parent)  # Tesseract's files go with the photo's folder, should this be ended
    known = None if hands is None else Hands(hands_from_text(hands.read_text("utf-8")))
    catalog = Catalog(forms)
    result = one_a_round(read_file(path, catalog, hands=known, typed=typed), catalog)
    return {
        "error": result.error,
        "notes": list(result.notes),
        "cards": [
            {
                "reading": reading_text(reading),
                "photo": reading.photo_sha256,
                "pictures": {name: b64encode(data).decode() for name, data in reading.pictures.items()},
                "views": {cell: b64encode(data).decode() for cell, data in reading.views.items()},
                "evidence": None if evidence is None else b64encode(evidence).decode(),
            }
            for reading, evidence in zip_longest(result.readings, result.evidence)
        ],
    }


def main() -> None:
    """Read one job from standard input, write its result to standard output."""
    from shortpencil.scan.vision.warm import warm

    warm()
    limit()
    out = sys.stdout.buffer
    sys.stdout = sys.stderr  # whatever a library prints is no part of the answer
    out.write(READY)
    out.flush()
    line = sys.stdin.buffer.readline()
    if not line:
        return
    job = json.loads(line)
    hands = Path(job["hands"]) if job["hands"] else None
    typed = (job["typed"][0], job["typed"][1]) if job["typed"] else None
    result = read(Path(job["path"]), Path(job["forms"]), int(job["most_pixels"]), hands, typed)
    out.write(json.dumps(result).encode() + b"\n")
    out.flush()


if __name__ == "__main__":
    main()
