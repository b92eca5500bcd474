"""Which printed edition a code names, also where text recognition took one sign for another."""

from __future__ import annotations

from shortpencil.forms.catalog import Catalog, earlier_fingerprints
from shortpencil.forms.serials import look_alikes
from shortpencil.scan.vision.finding.codes import CardCode
from shortpencil.scan.vision.pipeline import known_edition


def test_look_alikes_are_all_ways_to_mistake_a_sign() -> None:
    assert look_alikes("A5Z") == ["A5Z", "A52", "ASZ", "AS2"]


def test_a_misread_5_finds_the_edition_that_is_known(tmp_path) -> None:
    find = Catalog(tmp_path).find
    name = next(n for n in sorted(earlier_fingerprints()) if any(sign in n for sign in "5S2Z8B6G"))
    wrong = look_alikes(name)[1]
    code, layout = known_edition(CardCode("SERIAL22", wrong, "plain"), find)
    assert code.fingerprint == name
    assert layout is find(name)
    # A QR code has error correction of its own: what it says stands.
    assert known_edition(CardCode("SERIAL22", wrong, "qr"), find)[1] is None


def test_two_editions_that_look_alike_are_not_guessed(tmp_path) -> None:
    layout = Catalog(tmp_path).find(min(earlier_fingerprints()))
    code = CardCode("SERIAL22", "A5CDEF", "plain")
    both = {"ASCDEF": layout, "A5CDEF": None, "A5CD2F": layout}
    assert known_edition(code, both.get)[1] is layout
    assert (
        known_edition(CardCode("SERIAL22", "A5CDZF", "plain"), {"ASCD2F": layout, "A5CD2F": layout}.get)[1]
        is None
    )
