"""Serial numbers of cards and fingerprints of forms: short, safe to read by eye, checked by themselves.

Both use 31 signs: the digits 2 to 9 and the capitals without I, L and O, which hands and eyes confuse. 31 is
a prime, so one weighted sum modulo 31 catches every single wrong sign and every swap of two signs (the
scheme of ISBN-10, ISO 2108:2005, with another modulus).
"""

import hashlib
import itertools

from shortpencil.forms.errors import InputError
from shortpencil.forms.shown import found as shown

ALPHABET = "23456789ABCDEFGHJKMNPQRSTUVWXYZ"
SERIAL_LENGTH = 8  # 7 random signs (31^7, about 2.8e10) and one check sign
FINGERPRINT_LENGTH = 6  # 31^6, about 8.9e8: enough to tell the forms of one club apart
CODE_PREFIX = "SP"
_MISTAKEN = {"5": "S", "S": "5", "2": "Z", "Z": "2", "8": "B", "B": "8", "6": "G", "G": "6"}

#: What the QR code holds: prefix, serial, fingerprint. 16 signs fill a version 1 symbol at level Q (ISO/IEC
#: 18004).
CODE_LENGTH = len(CODE_PREFIX) + SERIAL_LENGTH + FINGERPRINT_LENGTH


def serial_from(random_bytes: bytes) -> str:
    """Return a serial number made of at least 8 random bytes; the caller brings the randomness."""
    if len(random_bytes) < 8:
        raise ValueError("a serial number needs 8 random bytes")
    body = _signs(int.from_bytes(random_bytes, "big"), SERIAL_LENGTH - 1)
    return body + _check_sign(body)


def is_serial(text: str) -> bool:
    """Say whether `text` is a serial number whose check sign is right."""
    return (
        len(text) == SERIAL_LENGTH
        and all(sign in ALPHABET for sign in text)
        and text[-1] == _check_sign(text[:-1])
    )


def fingerprint_of(text: str) -> str:
    """Return the fingerprint of a form's canonical text: its SHA-256 in six signs."""
    return _signs(int.from_bytes(hashlib.sha256(text.encode()).digest(), "big"), FINGERPRINT_LENGTH)


def card_code(serial: str, fingerprint: str) -> str:
    """Return what the QR code of a card holds; no name, no date, no place."""
    return f"{CODE_PREFIX}{serial}{fingerprint}"


def split_code(code: str) -> tuple[str, str] | None:
    """Return (serial, fingerprint) of a card's code, or None when it is none of ours or miswritten."""
    serial = code[len(CODE_PREFIX) : len(CODE_PREFIX) + SERIAL_LENGTH]
    fingerprint = code[len(CODE_PREFIX) + SERIAL_LENGTH :]
    if not code.startswith(CODE_PREFIX) or len(code) != CODE_LENGTH or not is_serial(serial):
        return None
    return serial, fingerprint


def plain_code(serial: str, fingerprint: str) -> str:
    """Return serial and fingerprint as printed beside the QR code, in groups that an eye can hold."""
    return f"{serial[:4]}-{serial[4:]}-{fingerprint}"


def split_plain_code(text: str) -> tuple[str, str] | None:
    """Return (serial, fingerprint) from the plain line as read by a person or by text recognition."""
    signs = "".join(sign for sign in text.upper() if sign in ALPHABET)
    return split_code(CODE_PREFIX + signs)


def typed_code(text: str) -> tuple[str, str]:
    """Return (serial, fingerprint) from the plain line as a person typed it.

    Raises
    ------
    InputError
        when a sign is missing or wrong
    """
    found = split_plain_code(text)
    if found is None:
        raise InputError(
            "expected the number that is printed beside a card's code, 14 signs in three groups, as in "
            f"7K3M-Q2XA-ABC234, found {shown(text)}. A sign is missing or wrong; 0, 1, I, L and O are none."
        )
    return found


def look_alikes(signs: str) -> list[str]:
    """Return what `signs` may have been before text recognition mistook some: itself first.

    Only pairs that both stand in the alphabet: 5 and S, 2 and Z, 8 and B, 6 and G.
    """
    ways = [(sign, other) if (other := _MISTAKEN.get(sign)) else (sign,) for sign in signs]
    return ["".join(way) for way in itertools.product(*ways)]


def _signs(number: int, count: int) -> str:
    signs = []
    for _ in range(count):
        number, sign = divmod(number, len(ALPHABET))
        signs.append(ALPHABET[sign])
    return "".join(reversed(signs))


def _check_sign(body: str) -> str:
    return ALPHABET[sum(w * ALPHABET.index(s) for w, s in enumerate(body, start=1)) % len(ALPHABET)]
