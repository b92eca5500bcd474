"""The chain over the holes against a listing of everything, on cards small enough to list."""

from __future__ import annotations

import dataclasses
import itertools
import math
import random

import numpy as np
import pytest

from shortpencil.forms.form import form_from_toml
from shortpencil.scan.vision.deciding.decode import Slips, decode
from shortpencil.scan.vision.evidence import Evidence
from tests.vision.brute_force import BruteForce
from tests.vision.marked_cards import cell_values, evidence_of, marked_card

TOLERANCE = 1e-9  # what the decoder promises

CLEAN_MISS = 'options = [{ id = "clean", label = "clean" }, { id = "miss", label = "miss" }]'


def options(*ids: str) -> str:
    return "[" + ", ".join(f'{{ id = "{id_}", label = "{id_}" }}' for id_ in ids) + "]"


def small_form(
    holes: int,
    rows: list[str],
    outside: list[str],
    score_digits: int = 1,
    total_digits: int = 2,
    phases: tuple[tuple[str, str, str], ...] = (),
    only_misses: bool = False,
):
    """A round card of the fields named, each a field of the built-in cards made smaller."""
    kinds = {
        "score": f'type = "number"\ndigits = {score_digits}',
        "penalty": 'type = "choose-one"\noptions = [{ id = "1", label = "1" }, { id = "2", label = "2" }]',
        "way": f'type = "choose-many"\noptions = {options("left", "right")}',
        "why": 'type = "number"\ndigits = 1',
        "forehand": 'type = "choose-one"\noptions = [{ id = "yes", label = "yes" }]',
        "putt1.stance": 'type = "choose-one"\noptions = [{ id = "straddle", label = "straddle" }]',
        "putt1.distance": 'type = "number"\ndigits = 1',
        "putt2.distance": 'type = "number"\ndigits = 1',
        "total": f'type = "number"\ndigits = {total_digits}',
        "worst": f'type = "choose-one"\noptions = {options("drive", "putt")}',
    }
    throw_kind = f'options = {options("miss")}\ndefault = "clean"' if only_misses else CLEAN_MISS
    named = " ".join(columns for _, _, columns in phases).split()
    for throw in ("drive", "approach1", "approach2", "putt1", "putt2", "putt3", *named):
        kinds[throw] = f'type = "choose-one"\n{throw_kind}'
    for phase in ("drive", "approach", "putt", *(id_ for id_, _, _ in phases)):
        kinds[f"tally.{phase}"] = 'type = "number"\ndigits = 1'
    if phases:
        kinds["worst"] = f'type = "choose-one"\noptions = {options(*(id_ for id_, _, _ in phases))}'
    text = 'name = "small"\nedition = 1\ntitle = "small"\nrecord = "round"\n'
    text += f'[rows]\nprefix = "h"\ncount = {holes}\n'
    text += "".join(f'[[rows.left]]\nid = "{name}"\n{kinds[name]}\n' for name in rows)
    text += "".join(f'[[foot]]\nid = "{name}"\n{kinds[name]}\n' for name in outside)
    text += "".join(
        f'[[phases]]\nid = "{id_}"\nrole = "{role}"\ncolumns = {columns.split()}\n'
        for id_, role, columns in phases
    )
    text += "".join(f'[[causes]]\nnumber = {n}\nid = "c{n}"\nlabel = "c{n}"\n' for n in (1, 2, 3))
    return form_from_toml(text, source="test")


FORMS = {
    "scores and total": small_form(4, ["score"], ["total"]),
    "throws": small_form(3, ["score", "penalty", "drive", "putt1"], ["tally.drive", "tally.putt", "total"]),
    "no sums": small_form(2, ["score", "drive", "approach1", "putt1"], []),
    "tallies alone": small_form(
        2, ["score", "drive", "approach1", "putt1"], ["tally.drive", "tally.approach"]
    ),
    "second pass": small_form(
        2,
        ["score", "drive", "putt1", "way", "why", "forehand"],
        ["worst", "tally.drive", "tally.putt", "total"],
    ),
    "distances": small_form(
        1,
        ["score", "drive", "putt1", "putt1.distance", "putt1.stance", "putt2", "putt2.distance"],
        ["tally.putt", "total"],
    ),
    "two boxes": small_form(2, ["score", "drive"], ["total"], score_digits=2),
    "only misses": small_form(
        2,
        ["score", "penalty", "drive", "approach1", "putt1"],
        ["tally.drive", "tally.putt", "total"],
        only_misses=True,
    ),
    "two phases": small_form(
        2,
        ["score", "long", "near1", "near2", "way"],
        ["worst", "tally.long", "tally.near", "total"],
        phases=(("long", "tee", "long"), ("near", "target", "near1 near2")),
    ),
    "a game without putts": small_form(
        2,
        ["score", "drive", "upshot1", "upshot2"],
        ["tally.drive", "tally.upshot", "total"],
        phases=(("drive", "tee", "drive"), ("upshot", "between", "upshot1 upshot2")),
    ),
    # of two holes full of noise there are more ways than the chain goes: their doubt is bounded, not listed
    "four phases and a second pass": small_form(
        1,
        ["score", "drive", "fairway1", "upshot1", "putt1", "why"],
        ["worst", "tally.drive", "tally.upshot", "tally.putt", "total"],
        phases=(
            ("drive", "tee", "drive"),
            ("fairway", "between", "fairway1"),
            ("upshot", "between", "upshot1"),
            ("putt", "target", "putt1"),
        ),
    ),
    "four phases on two holes": small_form(
        2,
        ["score", "drive", "fairway1", "upshot1", "putt1"],
        ["tally.drive", "tally.fairway", "tally.upshot", "tally.putt", "total"],
        phases=(
            ("drive", "tee", "drive"),
            ("fairway", "between", "fairway1"),
            ("upshot", "between", "upshot1"),
            ("putt", "target", "putt1"),
        ),
    ),
    "four phases, misses of each": small_form(
        1,
        ["score", "drive", "fairway1", "upshot1", "upshot2", "putt1", "putt1.distance"],
        ["tally.fairway", "tally.upshot", "total"],
        phases=(
            ("drive", "tee", "drive"),
            ("fairway", "between", "fairway1"),
            ("upshot", "between", "upshot1 upshot2"),
            ("putt", "target", "putt1"),
        ),
    ),
}


def blurred(evidence: Evidence, rng: random.Random, share: float) -> Evidence:
    """Evidence where a share of the cells says something else, or little, or anything."""
    noise = np.random.default_rng(rng.randrange(2**32))

    def blur(logs):
        logs = np.array(logs, dtype=float)
        if rng.random() < share:
            logs = noise.normal(0, rng.choice([0.0, 1.0, 4.0, 12.0]), len(logs))
        return logs

    return dataclasses.replace(
        evidence,
        bubbles={cell: tuple(blur(logs)) for cell, logs in evidence.bubbles.items()},
        digits={cell: blur(logs).astype(np.float32) for cell, logs in evidence.digits.items()},
    )


def blurred_card(name: str, seed: int, share: float) -> Evidence:
    form = FORMS[name]
    rng = random.Random(seed)
    truth = marked_card(form, rng)
    if "total" in truth and rng.random() < 0.3:
        truth["total"] = max(truth["total"] + rng.choice([-10, -1, 1, 2, 10]), 0)  # one adding mistake
    return blurred(evidence_of(form, cell_values(form, truth)), rng, share)


def assert_same(form, evidence: Evidence, slips: Slips) -> None:
    """Every answer of every field that hangs together has the listed probability."""
    slips = dataclasses.replace(slips, hand_overruled=math.inf)  # habits of the hand come after the sums
    listed = BruteForce(form, evidence, slips).posterior
    decoded = decode(form, evidence, slips, habits=False)
    assert set(decoded.fields) == set(listed)
    for name, field in decoded.fields.items():
        table = dict(listed[name])
        assert sum(table.values()) == pytest.approx(1, abs=1e-9)
        best = max(table, key=lambda answer: table[answer])
        if best in ("many", "struck"):
            assert field.value is None
            assert field.flag is not None
            assert field.p == pytest.approx(table[best], abs=TOLERANCE)
            continue
        if field.value is not None or best is None:
            assert field.p == pytest.approx(table[field.value], abs=TOLERANCE), name
            assert table[field.value] >= table[best] - TOLERANCE, name
        for answer, p in field.alternatives:
            assert p == pytest.approx(table[answer], abs=TOLERANCE), (name, answer)


# Two of four seeds each, in turn; `bench_decode` goes through many.
@pytest.mark.parametrize(
    ("name", "seed"), [(name, seed) for i, name in enumerate(FORMS) for seed in (i % 2, 2 + i % 2)]
)
def test_chain_agrees_with_a_listing_of_everything(name, seed):
    assert_same(FORMS[name], blurred_card(name, seed, (0.0, 0.15, 0.4, 1.0)[seed]), Slips())


def test_the_listing_can_disagree():
    form, evidence = FORMS["scores and total"], blurred_card("scores and total", 2, 0.4)
    decoded = decode(form, evidence, Slips(), habits=False)
    other = BruteForce(form, evidence, dataclasses.replace(Slips(), total_wrong=0.031)).posterior
    assert any(
        abs(field.p - other[name][field.value]) > TOLERANCE
        for name, field in decoded.fields.items()
        if field.value is not None
    )


def test_players_who_slip_otherwise_agree_too():
    slips = Slips(
        total_wrong=0.2, tally_wrong=0.3, throw_forgotten=0.2, score_forgotten=0.2, hole_unplayed=0.3
    )
    for name in ("throws", "second pass"):
        assert_same(FORMS[name], blurred_card(name, 7, 0.3), slips)


def test_order_of_cells_does_not_matter():
    form, evidence = FORMS["throws"], blurred_card("throws", 5, 0.3)
    backwards = dataclasses.replace(
        evidence,
        bubbles=dict(itertools.islice(reversed(evidence.bubbles.items()), None)),
        digits=dict(reversed(evidence.digits.items())),
    )
    assert decode(form, evidence) == decode(form, backwards)
