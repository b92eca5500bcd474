"""What docs/records.md says is true: its examples, its table of rules, the options it names."""

import argparse
import json
import re
from pathlib import Path

import pytest

from shortpencil.scan.cli import stored
from shortpencil.scan.records.composing import validate
from shortpencil.scan.records.composing.rounds import SOURCES
from shortpencil.scan.records.recording.record_json import round_from_json, round_to_json
from shortpencil.scan.records.recording.schema import problems_of
from shortpencil.scan.records.recording.typed import filled_out

PAGE = (Path(__file__).parents[2] / "docs" / "records.md").read_text(encoding="utf-8")
EXAMPLES = [json.loads(text) for text in re.findall(r"```json\n(.*?)```", PAGE, re.DOTALL)]


def example(key: str):
    (found,) = [data for data in EXAMPLES if key in data and "holes" in data]
    return found


def test_the_typed_example_is_taken_without_a_finding():
    full = filled_out(example("course"))
    assert problems_of(full) == []
    round_ = round_from_json(full)
    assert [f for f in validate.validate(round_) if f.level != validate.FINE] == []
    assert [throw.holed for throw in round_.holes[1].throws] == [False, False, False, True]


def test_the_record_example_is_a_record():
    data = example("schema")
    assert problems_of(data) == []
    assert round_to_json(round_from_json(data)) == data


def test_every_rule_is_in_the_table_with_its_levels():
    source = Path(validate.__file__).read_text(encoding="utf-8")
    rules = set(re.findall(r'RoundFinding\(\s*f?"([a-z-]+)[."]', source))
    assert len(rules) > 15
    table = {
        name: row
        for row in PAGE.splitlines()
        if row.startswith("| `")
        for name in re.findall(r"`(.*?)`", row)
    }
    for rule in rules - {"tally"}:
        assert rule in table, rule


def test_every_source_is_in_the_table():
    for source in SOURCES:
        assert f"| `{source}` |" in PAGE


@pytest.mark.parametrize("name", ["rounds", "export", "import"])
def test_every_option_is_in_the_page(name):
    parser = argparse.ArgumentParser()
    commands = parser.add_subparsers()
    stored.add_to(commands)
    for action in commands.choices[name]._actions:
        for option in action.option_strings:
            if option.startswith("--") and option != "--help":
                assert f"`{option}" in PAGE or f" {option} " in PAGE, option
