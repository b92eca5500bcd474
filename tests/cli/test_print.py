"""`print` from the command line: what it writes, what it keeps, what it refuses."""

from __future__ import annotations

import json
from pathlib import Path

import pypdf
import pypdfium2
import pytest
import zxingcpp

from shortpencil.forms.catalog import Catalog
from shortpencil.forms.errors import InputError, LayoutError
from shortpencil.forms.serials import is_serial, split_code
from shortpencil.scan.cli.main import main
from shortpencil.scan.places import forms_folder


@pytest.fixture(autouse=True)
def _own_home(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("SHORTPENCIL_HOME", str(tmp_path / "home"))


def codes_in(pdf: Path) -> list[tuple[str, str]]:
    """Serial and fingerprint of each page, from its QR code."""
    found = []
    for page in pypdfium2.PdfDocument(pdf):
        (code,) = zxingcpp.read_barcodes(page.render(scale=150 / 72).to_pil())
        found.append(split_code(code.text))
    return found


def print_cards(capsys, *args: object) -> list[dict]:
    capsys.readouterr()
    assert main(["print", *map(str, args), "--json"]) == 0
    return json.loads(capsys.readouterr().out)["cards"]


def test_each_copy_has_a_serial_of_its_own_and_the_field_map_fits(tmp_path, capsys) -> None:
    pdf, field_map = tmp_path / "card.pdf", tmp_path / "map.json"
    cards = print_cards(capsys, "-o", pdf, "--map", field_map, "--copies", 3, "--player", "Wren")
    assert codes_in(pdf) == [(c["serial"], c["fingerprint"]) for c in cards]
    assert len({c["serial"] for c in cards}) == 3
    assert all(is_serial(c["serial"]) for c in cards)
    data = json.loads(field_map.read_text())
    assert (data["schema"], data["form"], data["fingerprint"]) == (1, "round18", cards[0]["fingerprint"])
    assert data["page"] == {"name": "a4", "width_mm": 210.0, "height_mm": 297.0}
    catalog = Catalog(forms_folder())
    assert {catalog.player_of(c["serial"]) for c in cards} == {"Wren"}


# Every pair of two settings once; that all combinations have field maps is tested where these are made.
@pytest.mark.parametrize(
    ("form", "paper", "unit", "hand"),
    [
        ("round9", "a4", "m", "right"),
        ("round9", "letter", "ft", "left"),
        ("round18", "a4", "ft", "left"),
        ("round18", "letter", "m", "right"),
        ("round27", "a4", "m", "left"),
        ("round27", "letter", "ft", "right"),
        ("round27", "a4", "ft", "right"),
        ("round9", "letter", "m", "left"),
    ],
)
def test_every_built_in_card_prints_and_is_known_by_its_fingerprint(
    form, paper, unit, hand, tmp_path, capsys
) -> None:
    pdf = tmp_path / "card.pdf"
    (card,) = print_cards(capsys, "-o", pdf, "--form", form, "--paper", paper, "--unit", unit, "--hand", hand)
    layout = Catalog(tmp_path / "elsewhere").find(card["fingerprint"])
    assert layout is not None
    assert (layout.form.name, layout.paper.name, layout.form.unit, layout.form.hand) == (
        form,
        paper,
        unit,
        hand,
    )


LAYOUT = 'name = "Millpond"\nlayout = "short tees"\nunit = "m"\n' + "".join(
    f"[[holes]]\nnumber = {n}\npar = {3 + n % 2}\nlength = {70 + 7 * n}\n" for n in range(1, 10)
)


def test_a_course_is_printed_in_and_its_card_is_kept(tmp_path, capsys) -> None:
    (tmp_path / "millpond.toml").write_text(LAYOUT)
    pdf, field_map = tmp_path / "card.pdf", tmp_path / "map.json"
    (card,) = print_cards(capsys, "-o", pdf, "--layout", tmp_path / "millpond.toml", "--map", field_map)
    text = pypdfium2.PdfDocument(pdf)[0].get_textpage().get_text_bounded()
    assert "Millpond" in text
    assert "par 4" in text
    assert "133 m" in text
    data = json.loads(field_map.read_text())
    assert data["form"] == "round9"
    assert "h01.par" not in data["fields"]
    layout = Catalog(forms_folder()).find(card["fingerprint"])
    assert layout is not None
    assert layout.form.course is not None
    assert layout.form.course.holes[8].length_m == 133


def test_lengths_in_one_unit_and_putts_in_the_other_are_told(tmp_path, capsys) -> None:
    holes = "".join(f"[[holes]]\nnumber = {number}\nlength = 210\n" for number in range(1, 19))
    course, pdf = tmp_path / "course.toml", str(tmp_path / "c.pdf")
    told = {}
    for unit, other in (("ft", "m"), ("m", "ft")):
        course.write_text(f'name = "Mill"\nunit = "{unit}"\n{holes}', "utf-8")
        for words in (["--unit", other], ["--unit", unit], ["--unit", other, "--form", "short18"]):
            assert main(["print", "-o", pdf, "--layout", str(course), *words]) == 0
            told[(unit, *words)] = f"--unit {unit}." in capsys.readouterr().err
    # the short card asks for no distances
    assert {words for words, is_told in told.items() if is_told} == {
        ("ft", "--unit", "m"),
        ("m", "--unit", "ft"),
    }


def test_a_roster_gives_a_card_a_player(tmp_path, capsys) -> None:
    (tmp_path / "club.csv").write_text("player,hand,copies\nWren,,2\nBirch,left,1\n")
    pdf = tmp_path / "stack.pdf"
    cards = print_cards(capsys, "-o", pdf, "--roster", tmp_path / "club.csv")
    assert [c["player"] for c in cards] == ["Wren", "Wren", "Birch"]
    assert len({c["fingerprint"] for c in cards}) == 2
    assert [serial for serial, _ in codes_in(pdf)] == [c["serial"] for c in cards]


@pytest.mark.parametrize("sign", [";", "\t"])
def test_a_roster_is_taken_as_a_spreadsheet_writes_it(sign, tmp_path, capsys) -> None:
    """In most of Europe a comma parts decimals, and columns stand between semicolons."""
    text = "\ufeffPlayer,Hand,Copies\r\nMüller,,2\r\nŻółw,Left,1\r\n,,\r\n".replace(",", sign)
    (tmp_path / "club.csv").write_text(text, encoding="utf-8", newline="")
    cards = print_cards(capsys, "-o", tmp_path / "stack.pdf", "--roster", tmp_path / "club.csv")
    assert [c["player"] for c in cards] == ["Müller", "Müller", "Żółw"]
    assert len({c["fingerprint"] for c in cards}) == 2


def test_a_preview_is_a_picture_of_the_card_and_keeps_nothing(tmp_path, capsys) -> None:
    from PIL import Image

    png = tmp_path / "card.png"
    assert main(["print", "--form", "round9", "--preview", str(png)]) == 0
    with Image.open(png) as picture:
        # ISO 216:2007: A4 is 210 mm x 297 mm; 150 dpi
        assert picture.size == pytest.approx((210 / 25.4 * 150, 297 / 25.4 * 150), abs=1)
        (code,) = zxingcpp.read_barcodes(picture)
    assert split_code(code.text) is not None
    assert list(tmp_path.iterdir()) == [png]
    assert main(["print", "-o", str(tmp_path / "card.pdf"), "--preview", str(png)]) == 0
    assert (tmp_path / "card.pdf").exists()


@pytest.mark.parametrize(
    ("options", "says"),
    [([], "--preview FILE.png"), (["--preview", "x.png", "--map", "x.json"], "--map"), (["--json"], "-o")],
)
def test_print_says_what_goes_together(options, says, tmp_path, capsys, monkeypatch) -> None:
    monkeypatch.chdir(tmp_path)
    assert main(["print", *options]) == 2
    assert says in capsys.readouterr().err
    assert not list(tmp_path.iterdir())


def bad(folder: Path, name: str, text: str) -> Path:
    (folder / name).write_text(text)
    return folder / name


@pytest.mark.parametrize(
    ("name", "text", "option", "words"),
    [
        ("x.toml", "name = ", "--form", "syntax error"),
        ("x.toml", 'name = "x"\ntitle = "x"\n[rows]\ncount = 99\n', "--form", "from 0 to 60"),
        (
            "x.toml",
            'name = "x"\ntitle = "x"\n[[head]]\nid = "a"\ntype = "choose-one"\n',
            "--form",
            "needs options",
        ),
        ("x.toml", "name = 3", "--layout", "expected"),
        ("x.toml", 'name = "M"\n[[holes]]\npar = 9\n', "--layout", "par from 2 to 6"),
        ("x.csv", "alias,hand\nWren,\n", "--roster", "column 'player', found the columns alias, hand."),
        ("x.csv", "", "--roster", "column 'player', found no columns."),
        ("x.csv", "player,copies\nWren,many\n", "--roster", "line 2"),
        ("x.csv", "player,copies\n\nJay,1\nWren,many\n", "--roster", "line 4"),
        ("x.csv", "player,hand\nWren,\nJay,\nWren,left\n", "--roster", "each name once, found 'Wren' twice"),
    ],
)
def test_a_bad_file_is_refused_by_name_and_nothing_is_written(
    name, text, option, words, tmp_path, capsys
) -> None:
    pdf = tmp_path / "card.pdf"
    assert main(["print", "-o", str(pdf), option, str(bad(tmp_path, name, text))]) == 2
    said = capsys.readouterr().err
    assert words in said
    assert name in said
    assert not pdf.exists()


def test_a_card_nobody_named_is_in_the_language_that_is_spoken(tmp_path, capsys, monkeypatch) -> None:
    nine = tmp_path / "nine.toml"
    nine.write_text('name = "Sallowbeck"\nholes = [' + "{ par = 3 }, " * 9 + "]\n")
    monkeypatch.setenv("SHORTPENCIL_LANGUAGE", "de")
    printed = {}
    for name, more in (("none", []), ("nine", ["--layout", nine]), ("named", ["--form", "round18"])):
        field_map = tmp_path / f"{name}.json"
        print_cards(capsys, "-o", tmp_path / "card.pdf", "--map", field_map, *more)
        printed[name] = json.loads(field_map.read_text())["form"]
    assert printed == {"none": "round18-de", "nine": "round9", "named": "round18"}


def test_a_name_that_the_font_cannot_write_is_refused(tmp_path, capsys) -> None:
    assert main(["print", "-o", str(tmp_path / "card.pdf"), "--player", "鷦鷯"]) == 2
    assert "no letters for" in capsys.readouterr().err


@pytest.mark.parametrize(
    ("name", "lacks", "plain"), [("Nguyễn", "ễ", "Nguyen"), ("Z\u0308oe", "Z\u0308", "Zoe")]
)
def test_a_letter_that_lacks_for_its_accents_alone_is_refused_with_a_way_to_write_it(
    name, lacks, plain, tmp_path, capsys
) -> None:
    assert main(["print", "-o", str(tmp_path / "card.pdf"), "--player", name]) == 2
    said = capsys.readouterr().err
    assert f"no letters for {lacks} in" in said
    assert f"as in '{plain}'" in said


def test_a_name_whose_accents_stand_apart_is_the_same_name(tmp_path, capsys) -> None:
    """Unicode Standard Annex 15, figure 3: e with an accent behind it is canonically the letter é."""
    apart, whole = "Ame\u0301lie  Zo\u0308e ", "Am\u00e9lie Z\u00f6e"
    pdf = tmp_path / "card.pdf"
    assert [c["player"] for c in print_cards(capsys, "-o", pdf, "--player", apart)] == [whole]
    assert whole in pypdf.PdfReader(pdf).pages[0].extract_text()
    holes = "".join(f"[[holes]]\nnumber = {number}\n" for number in range(1, 10))
    (tmp_path / "course.toml").write_text(f'name = "{apart}"\nlayout = "{apart}"\n{holes}', "utf-8")
    told = print_cards(capsys, "-o", pdf, "--layout", tmp_path / "course.toml", "--form", "round9")
    course = Catalog(forms_folder()).find(told[0]["fingerprint"]).form.course
    assert (course.name, course.layout) == (whole, whole)
    (tmp_path / "club.csv").write_text(f"player\n{apart}\n{whole}\n", "utf-8")
    assert main(["print", "-o", str(pdf), "--roster", str(tmp_path / "club.csv")]) == 2
    assert "expected each name once" in capsys.readouterr().err


def test_a_name_far_too_long_is_cut_where_it_would_be_dust(tmp_path, capsys) -> None:
    pdf = tmp_path / "card.pdf"
    (card,) = print_cards(capsys, "-o", pdf, "--player", "W" * 300)
    sizes: dict[str, float] = {}

    def look(text: str, _at: object, matrix: list[float], _font: object, size: float) -> None:
        sizes[text.strip()] = size * abs(matrix[3])

    pypdf.PdfReader(pdf).pages[0].extract_text(visitor_text=look)
    (shown,) = (text for text in sizes if text.startswith("WWW"))
    assert shown.endswith("W…")
    assert min(size for text, size in sizes.items() if text) >= 4
    assert card["player"] == "W" * 300


def test_an_unknown_form_lists_the_known_ones(tmp_path, capsys) -> None:
    assert main(["print", "-o", str(tmp_path / "card.pdf"), "--form", "round19"]) == 2
    assert "round18" in capsys.readouterr().err


def test_a_changed_field_map_is_refused(tmp_path, capsys) -> None:
    from shortpencil.forms.field_map import layout_from_json

    field_map = tmp_path / "map.json"
    print_cards(capsys, "-o", tmp_path / "card.pdf", "--map", field_map)
    text = field_map.read_text().replace('"width_mm": 210.0', '"width_mm": 211.0')
    with pytest.raises(InputError, match="was changed"):
        layout_from_json(text)


def test_layout_errors_are_for_people(tmp_path, capsys) -> None:
    wide = "".join(f'[[rows.left]]\nid = "n{i}"\ntype = "number"\ndigits = 6\n' for i in range(6))
    path = bad(tmp_path, "wide.toml", f'name = "wide"\ntitle = "Wide"\n[rows]\ncount = 3\n{wide}')
    assert main(["print", "-o", str(tmp_path / "card.pdf"), "--form", str(path)]) == 2
    assert "mm too wide" in capsys.readouterr().err
    assert issubclass(LayoutError, Exception)


def test_a_name_that_no_round_may_have_is_refused_before_it_is_printed(tmp_path, capsys):
    """The card could be read, and its round never be stored."""
    pdf, layout = tmp_path / "card.pdf", tmp_path / "course.toml"
    holes = "".join(f"[[holes]]\nnumber = {number}\npar = 3\n" for number in range(1, 10))
    layout.write_text(f'name = "{"c" * 501}"\nlayout = "main"\n{holes}')
    for more in (["--player", "x" * 501], ["--layout", str(layout)]):
        assert main(["print", "-o", str(pdf), *more]) == 2
        assert "names of at most 500 signs on a card, found one of 501" in capsys.readouterr().err
    assert not pdf.exists()
    assert main(["print", "-o", str(pdf), "--player", "x" * 500]) == 0
