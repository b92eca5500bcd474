"""Sound inputs of every kind, small enough to read thousands of, and ways to spoil them, by a seed."""

from __future__ import annotations

import io
import json
import random
import re
from collections.abc import Callable, Mapping
from contextlib import suppress
from dataclasses import dataclass, replace
from pathlib import Path

import numpy as np
from PIL import Image

from shortpencil.scan.cli.main import main

SAMPLES = Path(__file__).parents[2] / "sample_scans"
LONG_SIDE_PX = 1200  # about 4 px/mm: the card is read, in a fifth of the time of a phone's photo


@dataclass(frozen=True, slots=True)
class Kind:
    """One kind of input: sound examples, the words of the command that takes it, and how it is spoilt.

    `words` gets the folder and the spoilt file and returns the command; `name` is the file's name.
    """

    name: str
    bases: tuple[bytes, ...]
    words: Callable[[Path, Path], list[str]]
    file: str
    text: bool = False
    photo: bool = False
    share: float = 1.0


def pictures() -> dict[str, tuple[bytes, ...]]:
    """Return photos of two cards in every format."""
    found: dict[str, list[bytes]] = {}
    for name in ("plain_good_light.jpg", "messenger_copy_1600.jpg"):
        with Image.open(SAMPLES / name) as photo:
            colour = photo.convert("RGB")
        colour.thumbnail((LONG_SIDE_PX, LONG_SIDE_PX), Image.Resampling.LANCZOS)
        grey = colour.convert("L")
        black = grey.point(lambda v: 255 * (v > 128)).convert("1")
        for kind, picture, form, options in (
            ("JPEG", colour, "JPEG", {"quality": 88}),
            ("JPEG, progressive", colour, "JPEG", {"quality": 88, "progressive": True}),
            ("PNG", grey, "PNG", {}),
            ("TIFF", grey, "TIFF", {"compression": "tiff_lzw"}),
            ("TIFF", grey, "TIFF", {}),
            ("TIFF", black, "TIFF", {"compression": "group4"}),
            ("TIFF", colour, "TIFF", {"compression": "jpeg"}),
            ("WebP", colour, "WEBP", {"quality": 85}),
            ("HEIC", colour, "HEIF", {"quality": 70}),
            ("PDF", colour, "PDF", {"quality": 88}),
        ):
            found.setdefault(kind, []).append(_saved(picture, form, options))
    return {kind: tuple(datas) for kind, datas in found.items()}


def _saved(picture: Image.Image, form: str, options: Mapping[str, object]) -> bytes:
    import pillow_heif

    pillow_heif.register_heif_opener()
    out = io.BytesIO()
    picture.save(out, form, **options)
    return out.getvalue()


#: How many of 20,000: those that are mostly refused, or cost little, more often.
PHOTO_SHARES = {
    "JPEG": 2800, "JPEG, progressive": 1000, "PNG": 1800, "TIFF": 400, "WebP": 300, "HEIC": 300, "PDF": 400,
}  # fmt: skip
TEXT_SHARES = {
    "field map, given": 1700, "field map, kept": 1400, "who a card is for": 1400, "course, TOML": 1500,
    "form, TOML": 2100, "drills, TOML": 700, "roster, CSV": 500, "rounds, JSON": 2000, "rounds, CSV": 500,
    "holes, CSV": 500, "throws, CSV": 500,
}  # fmt: skip

OWN_FORM = """name = "own"
edition = 1
title = "Own card"
record = "sheet"
help = ["one line of help"]
[rows]
count = 4
prefix = "r"
[[rows.left]]
id = "n"
type = "number"
digits = 2
label = "n"
[[rows.left]]
id = "how"
type = "choose-one"
label = "how"
options = [{id = "good", label = "good"}, {id = "bad", label = "bad", shape = "square"}]
default = "good"
[[head]]
id = "date.day"
type = "number"
digits = 2
label = "day"
line = 2
[[foot]]
id = "words"
type = "words"
label = "words"
[[causes]]
number = 1
id = "early"
label = "released early"
"""

COURSE = 'name = "Millpond"\nlayout = "short tees"\nunit = "m"\n' + "".join(
    f"\n[[holes]]\nnumber = {n}\npar = 3\nlength = {60 + 7 * n}\n" for n in range(1, 10)
)
ROSTER = "player,hand,copies\r\nWren,right,2\r\nAsh,left,1\r\nPiet,,\r\n"


def kinds(folder: Path, most_samples: int = 12) -> list[Kind]:
    """Return every kind, with what it needs in `folder`: a store of some rounds, field maps, small photos."""
    import os

    os.environ["SHORTPENCIL_HOME"] = str(folder / "home")
    own, field_map, pdf = folder / "own.toml", folder / "own.json", folder / "own.pdf"
    own.write_text(OWN_FORM)
    _quietly(["print", "-o", str(pdf), "--form", str(own), "--map", str(field_map)])
    map_ = field_map.read_bytes()
    fingerprint = json.loads(map_)["fingerprint"]
    card = folder / "own.png"
    Image.fromarray(_page_of(pdf)).save(card)
    store = folder / "rounds.sqlite"
    _quietly(["read", *map(str, sorted(SAMPLES.glob("*.jpg"))[:most_samples]), "--store", str(store)])
    _quietly(["export", str(folder / "export"), "--store", str(store)])
    export = folder / "export"
    other = folder / "other.sqlite"
    empty = folder / "empty.png"
    Image.new("L", (60, 40), 255).save(empty)
    drills = Path(__file__).parents[2] / "scan" / "practice" / "drills.toml"

    def given_map(_: Path, file: Path) -> list[str]:
        return ["read", "--dry-run", "--map", str(_refitted(file)), str(empty)]

    def photo(_: Path, file: Path) -> list[str]:
        return ["read", "--dry-run", "--json", "--jobs", "1", str(file)]

    def kept_map(_: Path, file: Path) -> list[str]:
        place = folder / "home" / "forms" / f"{fingerprint}.json"
        place.write_bytes(file.read_bytes())
        return ["read", "--dry-run", "--jobs", "1", str(card)]

    def assigned(_: Path, file: Path) -> list[str]:
        cards = folder / "home" / "forms" / "cards"
        cards.mkdir(parents=True, exist_ok=True)
        (cards / "2345678A.json").write_bytes(file.read_bytes())
        return ["forget", "Nobody", "--yes", "--store", str(store)]

    def one_table(place: Path, file: Path) -> list[str]:
        for path in export.glob("*.csv"):
            if path.name != file.name:
                (place / path.name).write_bytes(path.read_bytes())
        return ["import", str(place), "--store", str(other)]

    found = [
        Kind(name, bases, photo, f"photo.{number}", photo=True, share=PHOTO_SHARES[name])
        for number, (name, bases) in enumerate(pictures().items())
    ]
    course = ["print", "-o", str(folder / "out.pdf"), "--form", "round9", "--layout"]
    found += [
        Kind("field map, given", (map_,), given_map, "map.json", text=True),
        Kind("field map, kept", (map_,), kept_map, "map.json", text=True),
        Kind("who a card is for", (b'{"player": "Wren"}',), assigned, "card.json", text=True),
        Kind("course, TOML", (COURSE.encode(),), lambda _, f: [*course, str(f)], "course.toml", text=True),
        Kind("form, TOML", (OWN_FORM.encode(),),
             lambda _, f: ["print", "-o", str(folder / "out.pdf"), "--form", str(f)], "form.toml", text=True),
        Kind("drills, TOML", (drills.read_bytes(),),
             lambda _, f: ["focus", "--store", str(store), "--drills", str(f)], "drills.toml", text=True),
        Kind("roster, CSV", (ROSTER.encode(),),
             lambda _, f: ["print", "-o", str(folder / "out.pdf"), "--form", "round9", "--roster", str(f)],
             "roster.csv", text=True),
        Kind("rounds, JSON", ((export / "rounds.json").read_bytes(), _typed()),
             lambda _, f: ["import", str(f), "--store", str(other), "--replace"], "rounds.json", text=True),
        *(
            Kind(f"{name}, CSV", ((export / f"{name}.csv").read_bytes(),), one_table, f"{name}.csv", True)
            for name in ("rounds", "holes", "throws")
        ),
    ]  # fmt: skip
    return [replace(kind, share=TEXT_SHARES[kind.name]) if kind.text else kind for kind in found]


def _refitted(file: Path) -> Path:
    """Give every other map that still is JSON the fingerprint of what is in it now, as a forger would."""
    from shortpencil.forms.serials import fingerprint_of

    data = file.read_bytes()
    with suppress(ValueError, RecursionError):
        map_ = json.loads(data)
        if isinstance(map_, dict) and len(data) % 2:
            body = {key: value for key, value in map_.items() if key not in ("schema", "form", "fingerprint")}
            text = json.dumps(body, ensure_ascii=False, sort_keys=True, separators=(",", ":"))
            file.write_text(json.dumps(map_ | {"fingerprint": fingerprint_of(text)}))
    return file


def _typed() -> bytes:
    holes = [
        {"score": 3 + n % 2, "par": 3, "throws": [{"phase": "drive", "execution": "miss"}]} for n in range(9)
    ]
    return json.dumps({"player": "Wren", "played_on": "2026-05-31", "holes": holes}).encode()


def _page_of(pdf: Path) -> np.ndarray:
    import pypdfium2

    bitmap = pypdfium2.PdfDocument(pdf)[0].render(scale=2.0, grayscale=True)
    return np.ascontiguousarray(bitmap.to_numpy().reshape(bitmap.height, -1)[:, : bitmap.width])


def _quietly(words: list[str]) -> None:
    from contextlib import redirect_stderr, redirect_stdout

    with redirect_stdout(io.StringIO()), redirect_stderr(io.StringIO()):
        main(words)


# -- spoiling ----------------------------------------------------------------------------------------------


def spoilt(kind: Kind, rng: random.Random) -> bytes:
    """Return one of the kind's examples, spoilt in one to three ways."""
    data = rng.choice(kind.bases)
    for _ in range(rng.choice((1, 1, 1, 2, 3))):
        ways = TEXT_WAYS + BYTE_WAYS[:3] if kind.text else BYTE_WAYS
        data = rng.choice(ways)(data, rng)
    return data


def _flipped(data: bytes, rng: random.Random) -> bytes:
    out = bytearray(data)
    for _ in range(rng.choice((1, 1, 4, 40))):
        if out:
            out[rng.randrange(len(out))] ^= 1 << rng.randrange(8)
    return bytes(out)


def _cut(data: bytes, rng: random.Random) -> bytes:
    return data[: rng.randrange(len(data) + 1)]


def _moved(data: bytes, rng: random.Random) -> bytes:
    """Take out, double or overwrite a part."""
    size = rng.choice((1, 8, 64, 700))
    at, other = rng.randrange(len(data) + 1), rng.randrange(len(data) + 1)
    part = rng.choice((b"", data[at : at + size] * 2, data[other : other + size], bytes(size)))
    return data[:at] + part + data[at + size :]


def _header(data: bytes, rng: random.Random) -> bytes:
    """Write an extreme number near the start or the end, where sizes and offsets stand."""
    values = (0, 1, 0x7F, 0xFF, 0x7FFF, 0xFFFF, 0x7FFFFFFF, 0xFFFFFFFF, 99_999)
    width = rng.choice((1, 2, 4))
    number = rng.choice(values).to_bytes(4, rng.choice(("big", "little")))[:width]
    at = rng.randrange(min(len(data), 600) + 1)
    if rng.random() < 0.3:
        at = max(len(data) - at, 0)
    return data[:at] + number + data[at + width :]


def _late(data: bytes, rng: random.Random) -> bytes:
    """Change a few bytes behind the headers, in the picture itself."""
    out = bytearray(data)
    for _ in range(rng.choice((1, 3, 12))):
        if len(out) > 2000:
            out[rng.randrange(1200, len(out) - 300)] = rng.randrange(256)
    return bytes(out)


BYTE_WAYS: list[Callable[[bytes, random.Random], bytes]] = [_flipped, _cut, _moved, _header, _late, _late]

_ODD = (
    b"9" * 5000, b"-" + b"9" * 30, b"1e999", b"NaN", b"0x" + b"f" * 4999, b"[" * 3000, b'{"a":' * 2000,
    b"true", b"null", b"{}", b"[]", b'""', b'"x"', b"3.5", b"-1", b"0", b"1e-7", b"inf", b"2026-02-31",
    b"\xff\xfe", b"\x00", b"\xef\xbb\xbf", b"\\ud800", b"\x1b[2J", "\u202e".encode(), "🥏".encode(), b"'" * 3,
    b'"', b",", b"=", b"\r", b"\n", b" " * 300, b"x" * 70_000, b"[[rows.left]]\n", b"2" * 18,
)  # fmt: skip
_TOKEN = re.compile(rb"\"[^\"]*\"|[\w.+-]+")


def _token(data: bytes, rng: random.Random) -> bytes:
    """Put something odd in place of a value or a key."""
    places = list(_TOKEN.finditer(data))
    if not places:
        return data
    place = rng.choice(places)
    odd = rng.choice(_ODD)
    if rng.random() < 0.3:
        other = rng.choice(places)
        odd = data[other.start() : other.end()]
    return data[: place.start()] + odd + data[place.end() :]


def _leaf(data: bytes, rng: random.Random) -> bytes:
    """Put something odd in place of one value of a JSON text, which stays one; of another text, a token."""
    try:
        whole = json.loads(data)
    except (ValueError, RecursionError):
        return _token(data, rng)
    holder, key = None, None
    at = whole
    while isinstance(at, dict | list) and at and not (holder is not None and rng.random() < 0.15):
        holder, key = at, rng.choice(list(at)) if isinstance(at, dict) else rng.randrange(len(at))
        at = at[key]
    if holder is None:
        return rng.choice(_ODD)
    odd = (
        None,
        True,
        0,
        -1,
        3.5,
        1e300,
        10**17,
        "",
        "x" * 3000,
        "\x1b[31m",
        "2026-02-31",
        [],
        {},
        [[]],
        "waits",
    )
    holder[key] = rng.choice(odd)
    return json.dumps(whole).encode()


def _line(data: bytes, rng: random.Random) -> bytes:
    """Take out, double or swap lines."""
    lines = data.splitlines(keepends=True)
    if len(lines) < 2:
        return data
    i, j = rng.randrange(len(lines)), rng.randrange(len(lines))
    what = rng.randrange(3)
    if what == 0:
        del lines[i]
    elif what == 1:
        lines.insert(i, lines[j])
    else:
        lines[i], lines[j] = lines[j], lines[i]
    return b"".join(lines)


def _insert(data: bytes, rng: random.Random) -> bytes:
    at = rng.randrange(len(data) + 1)
    return data[:at] + rng.choice(_ODD) + data[at:]


TEXT_WAYS: list[Callable[[bytes, random.Random], bytes]] = [_token, _token, _leaf, _leaf, _line, _insert]
