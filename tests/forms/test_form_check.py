"""A form is refused where it is wrong: line, field and remedy, all at once, and never with a traceback."""

from __future__ import annotations

import json
import random
import re
import tomllib
from contextlib import suppress
from pathlib import Path

import jsonschema
import pytest
from hypothesis import given
from hypothesis import strategies as st

from shortpencil.forms.catalog import builtin_names, load_form
from shortpencil.forms.drawing import draw
from shortpencil.forms.errors import InputError, ShortpencilError
from shortpencil.forms.field_map import fingerprint, layout_from_json, layout_to_json
from shortpencil.forms.form import form_from_toml
from shortpencil.forms.layout import PAPERS, arrange
from shortpencil.forms.pdf import identify
from shortpencil.forms.published import form_schema, schema_text
from shortpencil.forms.toml_lines import lines_of
from tests.forms.wrong_forms import RIGHT, WRONG

GUIDE = Path(__file__).parents[2] / "docs" / "forms.md"
EXAMPLES = re.findall(r"```toml\n(.*?)```", GUIDE.read_text("utf-8"), re.DOTALL)


def first_line_that_differs(one: str, other: str) -> int:
    pairs = zip(one.splitlines(), other.splitlines(), strict=False)
    return next(number for number, (a, b) in enumerate(pairs, start=1) if a != b)


def refusal(text: str) -> str:
    with pytest.raises(InputError) as refused:
        form_from_toml(text, source="own.toml")
    return str(refused.value)


def test_the_right_form_is_taken_and_printed() -> None:
    sheet = arrange(form_from_toml(RIGHT, source="own.toml"), PAPERS["a4"])
    assert draw(sheet, identify("8JSHR4Z5", fingerprint(sheet.layout)))
    assert layout_from_json(layout_to_json(sheet.layout)) == sheet.layout
    assert sheet.layout.form.row_label(2) == "two"


def test_there_are_a_hundred_wrong_forms() -> None:
    assert len({(case[0], case[1]) for case in WRONG}) >= 100


@pytest.mark.parametrize(
    "case", WRONG, ids=lambda case: re.sub(r"\s+", " ", case[1])[:40] or f"no {case[0]}"[:40]
)
def test_a_wrong_form_is_refused_with_line_and_remedy(case: tuple[str, str, str]) -> None:
    right, wrong, says, *at = case
    text = RIGHT.replace(right, wrong, 1)
    assert text != RIGHT
    said = refusal(text)
    line = first_line_that_differs(RIGHT, text)
    if at:
        line = next(number for number, shown in enumerate(text.splitlines(), start=1) if at[0] in shown)
    where = "own.toml: expected a" if at == [""] else f"own.toml, line {line}"
    (told,) = [one for one in said.splitlines() if one.startswith(where) and says in one] or [said]
    assert told.startswith(where)
    assert says in told
    assert re.search(r"found .*[.?]", told), told


ROUND = next(text for text in EXAMPLES if "[[phases]]" in text)
WRONG_ROUNDS = [
    ('record = "round"', 'record = "sheet"', 'only with record = "round"'),
    ('role = "tee"', 'role = "start"', "one of tee, between, target"),
    ('id = "fairway"', 'id = "Fairway"', "letters, digits"),
    ('id = "upshot"', 'id = "fairway"', "an id of its own"),
    ('columns = ["upshot1"]', 'columns = ["upshot"]', "Did you mean 'upshot1'?"),
    ('columns = ["upshot1"]', 'columns = ["putt1"]', "each column in one phase"),
    ('columns = ["upshot1"]', "columns = [1]", "a list of at most 4 texts"),
    ('role = "tee"', 'role = "target"', "one phase with the role 'target'"),
    (
        'role = "between"\ncolumns = ["upshot1"]',
        'role = "tee"\ncolumns = ["upshot1"]',
        "one phase with the role 'tee'",
    ),
    ('[[phases]]\nid = "drive"', '[[phase]]\nid = "drive"', "Did you mean 'phases'?"),
    ('options = [{ id = "clean", label', 'options = [{ id = "good", label', "Give the options these ids"),
]


@pytest.mark.parametrize(
    ("right", "wrong", "says"), WRONG_ROUNDS, ids=[case[1][:30] for case in WRONG_ROUNDS]
)
def test_a_round_whose_phases_do_not_fit_is_refused(right: str, wrong: str, says: str) -> None:
    assert right in ROUND
    said = refusal(ROUND.replace(right, wrong, 1))
    assert says in said
    assert re.search(r"own.toml, line \d+", said)


@pytest.mark.parametrize("value", ["[1]", "3", "{}", '"x"', "true"])
@pytest.mark.parametrize("line", ['id = "drive"', 'columns = ["drive"]', 'role = "tee"', 'id = "putt1"'])
def test_a_value_of_any_kind_is_refused_in_words(line: str, value: str) -> None:
    """Found by spoiling 2,000 forms: what is wrong once is looked at by every other check, too."""
    key = line.split(" =", maxsplit=1)[0]
    for text in (ROUND.replace(line, f"{key} = {value}"), ROUND.replace(line, f"{key} = {value}", 1)):
        assert tried(text) in ("refused", "taken")


def test_a_message_names_the_field() -> None:
    assert "line 22, field 'wind': expected" in refusal(RIGHT.replace('default = "calm"', 'default = "clam"'))


def test_everything_wrong_with_a_form_is_said_at_once_in_the_order_of_its_lines() -> None:
    text = RIGHT.replace("edition = 1", "editon = 1").replace("digits = 2", "digits = 9")
    text = text.replace('default = "calm"', 'default = "clam"')
    said = refusal(text).splitlines()
    assert [int(re.findall(r"line (\d+)", one)[0]) for one in said] == [2, 22, 38]


def test_a_syntax_error_names_its_line() -> None:
    assert "line 2" in refusal('name = "own"\nedition = \n')


@pytest.mark.parametrize("text", EXAMPLES, ids=lambda text: tomllib.loads(text)["name"])
@pytest.mark.parametrize("paper", PAPERS)
def test_an_example_of_the_guide_prints_on_both_papers(text: str, paper: str) -> None:
    jsonschema.validate(tomllib.loads(text), json.loads(schema_text("form")))
    sheet = arrange(form_from_toml(text, source="guide"), PAPERS[paper])
    assert draw(sheet, identify("8JSHR4Z5", fingerprint(sheet.layout)))
    layout = layout_from_json(layout_to_json(sheet.layout))
    assert layout == sheet.layout
    jsonschema.validate(json.loads(layout_to_json(layout)), json.loads(schema_text("field_map")))


def test_the_guide_names_every_key_of_a_form() -> None:
    from shortpencil.forms.form_check import CAUSE, FIELD, FORM, OPTION, PHASE, ROWS

    text = GUIDE.read_text("utf-8")
    for table in (CAUSE, FIELD, FORM, OPTION, PHASE, ROWS):
        for key in table:
            assert re.search(rf"\b{re.escape(key)}\b", text), key


@pytest.mark.parametrize("name", builtin_names())
def test_a_built_in_form_fits_the_published_schema_and_its_map_fits_the_other(name: str) -> None:
    from importlib.resources import files

    data = tomllib.loads(files("shortpencil.forms.builtin").joinpath(f"{name}.toml").read_text("utf-8"))
    jsonschema.validate(data, json.loads(schema_text("form")))
    layout = arrange(load_form(name), PAPERS["a4"]).layout
    jsonschema.validate(json.loads(layout_to_json(layout)), json.loads(schema_text("field_map")))


def test_the_published_schema_is_the_one_that_the_checks_go_by() -> None:
    assert json.loads(schema_text("form")) == form_schema()
    jsonschema.Draft202012Validator.check_schema(form_schema())
    jsonschema.Draft202012Validator.check_schema(json.loads(schema_text("field_map")))


def test_the_schema_refuses_what_one_key_alone_gets_wrong() -> None:
    schema = jsonschema.Draft202012Validator(json.loads(schema_text("form")))
    refused = 0
    for case in WRONG:
        with suppress(tomllib.TOMLDecodeError):
            refused += not schema.is_valid(tomllib.loads(RIGHT.replace(case[0], case[1], 1)))
    assert schema.is_valid(tomllib.loads(RIGHT))
    assert refused >= 85


def test_a_third_party_can_work_out_fingerprint_and_check_sign_from_the_schema() -> None:
    """The words of the field map's schema, followed to the letter."""
    import hashlib

    from shortpencil.forms.serials import is_serial

    signs = "23456789ABCDEFGHJKMNPQRSTUVWXYZ"
    layout = arrange(load_form("round9"), PAPERS["letter"]).layout
    data = json.loads(layout_to_json(layout))
    named = data.pop("fingerprint")
    del data["schema"], data["form"]
    text = json.dumps(data, sort_keys=True, separators=(",", ":"), ensure_ascii=False)
    number = int.from_bytes(hashlib.sha256(text.encode()).digest(), "big") % 31**6
    assert named == "".join(signs[number // 31**place % 31] for place in (5, 4, 3, 2, 1, 0))
    body = "8JSHR4Z"
    check = sum(weight * signs.index(sign) for weight, sign in enumerate(body, start=1)) % 31
    assert is_serial(body + signs[check])


VALUES = st.recursive(
    st.one_of(st.integers(0, 9), st.booleans(), st.text("ab] }#'=.,", max_size=6), st.just(2.5)),
    lambda inner: (
        st.lists(inner, max_size=3) | st.dictionaries(st.text("abc", min_size=1, max_size=3), inner)
    ),
    max_leaves=8,
)


def toml_of(value: object) -> str:
    if isinstance(value, dict):
        return "{ " + ", ".join(f"{key} = {toml_of(item)}" for key, item in value.items()) + " }"
    if isinstance(value, list):
        return "[\n" + ",\n".join(toml_of(item) for item in value) + "]"
    return json.dumps(value)


@given(st.dictionaries(st.text("abc", min_size=1, max_size=3), VALUES, min_size=1, max_size=5))
def test_the_line_of_every_value_is_found(data: dict[str, object]) -> None:
    text = "# a comment\n" + "\n".join(f"{key} = {toml_of(value)}" for key, value in data.items())
    assert tomllib.loads(text) == data
    lines, shown = lines_of(text), text.splitlines()
    for key in data:
        assert re.match(rf"{key} = ", shown[lines[key,] - 1])


def mutated(text: str, dice: random.Random) -> str:
    """Return a form's text spoilt in one to three places: signs, lines, words, values, order."""
    for _ in range(dice.randint(1, 3)):
        lines = text.splitlines()
        at = dice.randrange(len(lines))
        way = dice.randrange(7)
        if way == 0:
            del lines[at]
        elif way == 1:
            lines.insert(at, dice.choice(lines))
        elif way == 2:
            other = dice.randrange(len(lines))
            lines[at], lines[other] = lines[other], lines[at]
        elif way == 3 and lines[at]:
            place = dice.randrange(len(lines[at]))
            lines[at] = lines[at][:place] + dice.choice("\"'=[]{}.,#x9- \t\\é\x07") + lines[at][place + 1 :]
        elif way == 4:
            values = ["0", "-1", "1e9", "true", '""', '"miss"', "[]", "{}", "[1]", "nan", "60", "1979-05-27"]
            lines[at] = lines[at].split("=")[0] + f"= {dice.choice(values)}"
        elif way == 5:
            lines[at] = re.sub(r"[\d.]+", lambda _: str(dice.choice([0, 1, 7, 33, 60, 299.5])), lines[at])
        else:
            lines[at] = re.sub(r'"[^"]*"', lambda _: f'"{"w" * dice.choice([1, 30, 200])}"', lines[at])
        text = "\n".join(lines) + "\n"
        if not text.strip():
            return text
    return text


def tried(text: str) -> str:
    """Say what became of a form's text: taken, or refused in words for people."""
    try:
        form = form_from_toml(text, source="own.toml")
        sheet = arrange(form, PAPERS["a4"])
        draw(sheet, identify("8JSHR4Z5", fingerprint(sheet.layout)))
    except ShortpencilError as error:
        return "refused" if len(str(error)) > 20 else "refused without a reason"
    assert layout_from_json(layout_to_json(sheet.layout)) == sheet.layout
    return "taken"


def sources() -> list[str]:
    from importlib.resources import files

    return [
        RIGHT,
        *EXAMPLES,
        *(
            files("shortpencil.forms.builtin").joinpath(f"{n}.toml").read_text("utf-8")
            for n in builtin_names()
        ),
    ]


def test_spoilt_forms_are_taken_whole_or_refused_and_nothing_else() -> None:
    """80 here; `python -m tests.forms.test_form_check 2000` for more."""
    dice = random.Random(15)
    outcomes = [tried(mutated(dice.choice(sources()), dice)) for _ in range(80)]
    assert set(outcomes) == {"taken", "refused"}


if __name__ == "__main__":
    import sys
    from collections import Counter

    seeds = random.Random(int(sys.argv[2]) if len(sys.argv) > 2 else 1)
    texts = sources()
    print(Counter(tried(mutated(seeds.choice(texts), seeds)) for _ in range(int(sys.argv[1]))))
