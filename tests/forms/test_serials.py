"""Serial numbers as a person copies them: one wrong sign or two in each other's place are found."""

from __future__ import annotations

from itertools import pairwise

from shortpencil.forms.serials import ALPHABET, is_serial, serial_from


def test_two_neighbours_in_each_others_place_are_no_serial() -> None:
    # of slips in copied numbers this is the commonest after a single wrong sign
    for seed in range(50):
        serial = serial_from(bytes([seed]) * 16)
        assert is_serial(serial)
        for at, (one, other) in enumerate(pairwise(serial)):
            if one != other:
                assert not is_serial(serial[:at] + other + one + serial[at + 2 :]), (serial, at)


def test_any_single_wrong_sign_is_no_serial() -> None:
    serial = serial_from(b"a card of an evening")
    for at in range(len(serial)):
        for sign in set(ALPHABET) - {serial[at]}:
            assert not is_serial(serial[:at] + sign + serial[at + 1 :])
