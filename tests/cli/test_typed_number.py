"""A card whose code is spoilt: the number printed beside it is typed, and the card is read like any other."""

from __future__ import annotations

import json
from pathlib import Path

import numpy as np
import pytest
from numpy.typing import NDArray

from shortpencil.forms.errors import InputError
from shortpencil.forms.serials import plain_code, serial_from, typed_code
from shortpencil.scan.cli.main import main
from shortpencil.scan.records.store import open_store
from tests.cli.test_read import PX_PER_MM, filled_sheet, on_a_table, save, silent_errors
from tests.simulator.blanks import blank_card

BLANK = blank_card("round18", paper="a4", px_per_mm=PX_PER_MM)
SERIAL, FINGERPRINT = BLANK.serial, BLANK.field_map["fingerprint"]
OTHER = serial_from(bytes(16))


@pytest.fixture(autouse=True)
def _own_home(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("SHORTPENCIL_HOME", str(tmp_path / "home"))


def spoilt(page: NDArray[np.uint8]) -> NDArray[np.uint8]:
    """Spill something over the code and the number beside it, where the published field map has them."""
    page = page.copy()
    for name in ("qr", "plain_code"):
        x, y, w, h = (round(mm * PX_PER_MM) for mm in BLANK.field_map[name]["box_mm"])
        page[y : y + h, x : x + w] = 90
    return page


@pytest.fixture(scope="module")
def sheet() -> tuple[NDArray[np.uint8], dict[str, object]]:
    return filled_sheet()


def test_a_card_with_a_spoilt_code_is_read_by_the_number_that_is_typed(sheet, tmp_path, capsys) -> None:
    photo = save(tmp_path / "spoilt.png", on_a_table(spoilt(sheet[0])))
    assert main(["read", str(photo)]) == 1
    assert "or with read --card" in capsys.readouterr().out
    number = plain_code(SERIAL, FINGERPRINT).lower().replace("-", " ")
    assert main(["read", str(photo), "--card", number, "--json"]) in (0, 1)
    (card,) = json.loads(capsys.readouterr().out)["cards"]
    assert (card["status"], card["serial"]) == ("read", SERIAL)
    assert silent_errors(card, sheet[1]) == []
    with open_store(tmp_path / "home" / "rounds.sqlite") as store:
        assert [round_.id for round_ in store.rounds()] == [SERIAL]


def test_a_code_that_can_be_read_is_believed_before_a_number_that_was_typed(sheet, tmp_path, capsys) -> None:
    photo = save(tmp_path / "sound.png", on_a_table(sheet[0]))
    assert main(["read", str(photo), "--card", plain_code(OTHER, FINGERPRINT)]) == 1
    assert f"This is card {SERIAL} by its code, and not {OTHER}" in capsys.readouterr().out
    assert main(["read", str(photo), "--card", plain_code(SERIAL, FINGERPRINT)]) in (0, 1)
    with open_store(tmp_path / "home" / "rounds.sqlite") as store:
        assert [round_.id for round_ in store.rounds()] == [SERIAL]


def test_a_form_that_nobody_knows_is_told(sheet, tmp_path, capsys) -> None:
    photo = save(tmp_path / "spoilt.png", on_a_table(spoilt(sheet[0])))
    assert main(["read", str(photo), "--card", plain_code(SERIAL, "AAAAAA")]) == 1
    assert "(AAAAAA) is not known here" in capsys.readouterr().out


def test_two_cards_on_a_photo_are_not_both_the_card_that_was_typed(sheet, tmp_path, capsys) -> None:
    one = spoilt(sheet[0])
    photo = save(tmp_path / "two.png", on_a_table(np.hstack([one, one]), size=(3400, 2400)))
    assert main(["read", str(photo), "--card", plain_code(SERIAL, FINGERPRINT)]) == 1
    assert capsys.readouterr().out.count("Neither the QR code nor the number") == 2


@pytest.mark.parametrize("sign", range(8))
def test_a_serial_with_one_sign_wrong_is_refused(sign: int) -> None:
    wrong = SERIAL[:sign] + ("A" if SERIAL[sign] != "A" else "B") + SERIAL[sign + 1 :]
    assert typed_code(plain_code(SERIAL, FINGERPRINT)) == (SERIAL, FINGERPRINT)
    with pytest.raises(InputError, match="A sign is missing or wrong"):
        typed_code(plain_code(wrong, FINGERPRINT))


@pytest.mark.parametrize("more", [["--card", ""], ["--card", SERIAL], ["--card", "7K3M-Q2XA-ABC23\u0301"]])
def test_what_is_no_number_of_a_card_is_refused(more: list[str], tmp_path, capsys) -> None:
    assert main(["read", "photo.jpg", *more]) == 2
    assert "14 signs in three groups" in capsys.readouterr().err


def test_a_number_goes_with_one_photo(tmp_path, capsys) -> None:
    number = ["--card", plain_code(SERIAL, FINGERPRINT)]
    assert main(["read", "a.jpg", "b.jpg", *number]) == 2
    assert main(["read", str(tmp_path), *number]) == 2
    assert capsys.readouterr().err.count("--card: expected one photo with it") == 2
