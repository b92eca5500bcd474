import json
from pathlib import Path

import pytest

from shortpencil.forms.catalog import builtin_fingerprints, earlier_fingerprints
from shortpencil.forms.serials import is_serial
from tests.simulator.blanks import blank_card
from tests.simulator.samples import SAMPLES, condition_of, shoot

FOLDER = Path(__file__).resolve().parents[2] / "sample_scans"


def truth_of(sample):
    return json.loads((FOLDER / f"{sample.name}.truth.json").read_text("utf-8"))


@pytest.mark.parametrize("sample", SAMPLES, ids=lambda s: s.name)
def test_each_photo_lies_there_with_its_truth(sample):
    truth = truth_of(sample)
    assert (FOLDER / f"{sample.name}{sample.suffix}").stat().st_size <= sample.limit_bytes
    assert truth["schema"] == 1
    assert truth["expect"] == sample.expect
    assert is_serial(truth["serial"])
    # A card of an edition that nobody knows any more could not be read.
    assert truth["fingerprint"] in {*builtin_fingerprints(), *earlier_fingerprints()}
    blank = blank_card(sample.form, paper=sample.paper, unit=sample.unit, px_per_mm=4.0)
    assert set(truth["cells"]) == {c["id"] for c in blank.field_map["cells"]}


def test_the_folder_is_small_and_holds_nothing_else():
    files = {f.name for f in FOLDER.iterdir()}
    expected = {"README.md"} | {f"{s.name}.truth.json" for s in SAMPLES}
    assert files == expected | {f"{s.name}{s.suffix}" for s in SAMPLES}
    assert sum(f.stat().st_size for f in FOLDER.iterdir()) < 6_000_000


def test_one_card_is_to_be_rejected_and_one_has_three_fields_to_review():
    assert [s.name for s in SAMPLES if truth_of(s)["expect"] == "rejected"] == ["half_out_of_picture_blurred"]
    assert {s.name: len(truth_of(s)["review"]) for s in SAMPLES if truth_of(s)["review"]} == {
        "three_to_review": 3
    }


def test_both_papers_and_several_kinds_of_file_are_there():
    assert {s.paper for s in SAMPLES} == {"a4", "letter"}
    assert {s.suffix for s in SAMPLES} >= {".jpg", ".heic", ".pdf"}


def test_the_readme_names_every_photo():
    text = (FOLDER / "README.md").read_text("utf-8")
    assert all(f"`{s.name}{s.suffix}`" in text for s in SAMPLES)
    assert "simulated" in text


def test_a_sample_is_made_again_as_it_lies_there():
    index = next(i for i, s in enumerate(SAMPLES) if s.name == "messenger_copy_1600")
    shot = shoot(index)
    assert dict(shot.sheets[0].cells) == truth_of(SAMPLES[index])["cells"]
    assert condition_of(SAMPLES[index], 1).output.suffix == ".jpg"
