"""Where the answers of a form stand in arrays: worked out once for a form, used for each of its cards."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from shortpencil.forms.form import Field, Form
from shortpencil.forms.rules import CardRules, rules_of
from shortpencil.scan.vision.weighing.likelihoods import Ints

#: Numbers up to so many boxes are decoded value by value (1,000 of them); longer ones box by box.
MOST_BOXES_BY_VALUE = 3


@dataclass(frozen=True, slots=True)
class Group:
    """Fields of one kind and size.

    Attributes
    ----------
    answers : of each field, nothing and each option's id
    field_ids : of each field, its id
    cell_ids : of each field, its cells
    all_cell_ids : the same, one after the other
    cells : (F, n) the places of these among all bubbles, or all digit boxes
    """

    fields: tuple[Field, ...]
    answers: tuple[tuple[str | None, ...], ...]
    field_ids: tuple[str, ...]
    cell_ids: tuple[tuple[str, ...], ...]
    all_cell_ids: tuple[str, ...]
    cells: Ints


#: Kind of field and count of its cells.
GroupKey = tuple[str, int]
#: A field's place: key of its group, and row in it.
Place = tuple[GroupKey, int]


@dataclass(frozen=True, slots=True)
class Throws:
    """The throw columns that all holes share.

    Attributes
    ----------
    group : kind and size of their fields
    fields : (H, c) rows in that group
    answers : columns of nothing, clean and miss among the meanings; only misses: clean is never marked
    columns : how many columns each phase has
    putts : (2,) index of the first two columns of the last phase, or -1
    only_misses : whether the card has bubbles for misses alone
    """

    group: GroupKey
    fields: Ints
    answers: tuple[int, int, int]
    columns: tuple[int, ...]
    putts: tuple[int, int]
    only_misses: bool = False


#: Fields of all holes, one a hole: key of their group, and (H,) rows in it.
Rows = tuple[GroupKey, Ints]


@dataclass(frozen=True, slots=True)
class HoleRows:
    """Where the parts of the holes stand.

    Attributes
    ----------
    penalty : with the penalty throws that each option stands for
    distances : of the first two putts, as many as the card asks for
    stances : each with the column of its throw
    second_pass : the fields of the second pass
    par : None where the par is printed
    """

    score: Rows
    throws: Throws
    penalty: tuple[GroupKey, Ints, list[int]] | None
    distances: list[Rows]
    stances: list[tuple[GroupKey, Ints, int]]
    second_pass: list[Rows]
    par: Rows | None


@dataclass(frozen=True, slots=True)
class FormIndex:
    """A form's cells and fields by kind.

    Attributes
    ----------
    fields, cells : all ids in the card's order
    bubbles, digits : of these cells, the ones read as such
    words : cell id of the strip of each field for words, by field id
    groups : ("choose-one" | "choose-many" | "number" | "date" | "long", n) -> its fields
    places : field id -> place
    holes : where the parts of the holes stand; None where there are none to add up
    hole_rules : field id -> the rule of its own hole that ties it down
    checked : rows of the numbers that a sum checks, by group
    columns : the columns of a form that is no round card, one field a row; none of words
    """

    fields: tuple[str, ...]
    cells: tuple[str, ...]
    bubbles: tuple[str, ...]
    digits: tuple[str, ...]
    words: dict[str, str]
    groups: dict[GroupKey, Group]
    places: dict[str, Place]
    rules: CardRules
    holes: HoleRows | None
    hole_rules: dict[str, str]
    checked: dict[GroupKey, Ints]
    columns: tuple[Rows, ...] = ()


#: Indices already made, with their forms, the latest last. Keyed by identity: to hash a form of 300 fields
#: takes 0.3 ms, a tenth of all decoding, and a reader of many cards holds on to its form anyway.
_KNOWN: dict[int, tuple[Form, FormIndex]] = {}
_MOST_KNOWN = 16


def index_of(form: Form) -> FormIndex:
    """Return the index of `form`, made once."""
    known = _KNOWN.get(id(form))
    if known is not None and known[0] is form:
        return known[1]
    index = _indexed(form)
    while len(_KNOWN) >= _MOST_KNOWN:
        _KNOWN.pop(next(iter(_KNOWN)), None)
    _KNOWN[id(form)] = form, index
    return index


def _indexed(form: Form) -> FormIndex:
    bubbles: list[str] = []
    digits: list[str] = []
    words: dict[str, str] = {}
    by_group: dict[GroupKey, list[tuple[Field, list[int]]]] = {}
    for field in form.fields:
        kind = _kind(field)
        if kind == "words":
            words[field.id] = field.cell_ids[0]
            continue
        cells = digits if field.type == "number" else bubbles
        by_group.setdefault((kind, len(field.cell_ids)), []).append(
            (field, list(range(len(cells), len(cells) + len(field.cell_ids))))
        )
        cells += field.cell_ids
    groups = {key: _group(members) for key, members in by_group.items()}
    places = {f.id: (key, row) for key, group in groups.items() for row, f in enumerate(group.fields)}
    rules = rules_of(form)
    holes = _hole_rows(form, rules, groups, places)
    return FormIndex(
        fields=tuple(field.id for field in form.fields),
        cells=tuple(cell for field in form.fields for cell in field.cell_ids),
        bubbles=tuple(bubbles),
        digits=tuple(digits),
        words=words,
        groups=groups,
        places=places,
        rules=rules,
        holes=holes,
        hole_rules=_hole_rules(form, rules),
        checked=_checked(rules, places),
        columns=() if form.makes_rounds else _columns(form, places),
    )


def _columns(form: Form, places: dict[str, Place]) -> tuple[Rows, ...]:
    """The columns that stand in every row, in the order of the card."""
    rows = [form.row_id(row) for row in range(1, form.rows + 1)]
    names = dict.fromkeys(field.id.partition(".")[2] for field in form.fields if field.row == 1)
    found = [together(places, [f"{at}.{name}" for at in rows]) for name in names]
    return tuple(column for column in found if column is not None and column[0][0] != "long")


def _group(members: list[tuple[Field, list[int]]]) -> Group:
    """Fields of one kind and size, each with the places of its cells."""
    return Group(
        tuple(field for field, _ in members),
        tuple((None, *(option.id for option in field.options)) for field, _ in members),
        tuple(field.id for field, _ in members),
        tuple(field.cell_ids for field, _ in members),
        tuple(cell for field, _ in members for cell in field.cell_ids),
        np.array([cells for _, cells in members]),
    )


def _checked(rules: CardRules, places: dict[str, Place]) -> dict[GroupKey, Ints]:
    """Rows of scores, tallies, counts and total by group."""
    fields = [hole.score for hole in rules.holes] + [tally.tally for tally in rules.tallies]
    fields += [rule.count for rule in rules.counts]
    fields += [rules.total.total] if rules.total else []
    by_group: dict[GroupKey, list[int]] = {}
    for key, row in (places[field_id] for field_id in fields):
        if key[0] == "number":
            by_group.setdefault(key, []).append(row)
    return {key: np.array(rows) for key, rows in by_group.items()}


def _kind(field: Field) -> str:
    if field.type != "number":
        return field.type
    if field.digits > MOST_BOXES_BY_VALUE:
        return "long"
    return "date" if field.id.startswith("date.") else "number"


def together(places: dict[str, Place], field_ids: Sequence[str | None]) -> Rows | None:
    """Group and rows of fields that are all in one group; None where a field lacks or differs."""
    found = [places[f] for f in field_ids if f is not None and f in places]
    if len(found) < len(field_ids) or len({key for key, _ in found}) != 1:
        return None
    return found[0][0], np.array([row for _, row in found])


def _hole_rows(
    form: Form, rules: CardRules, groups: dict[GroupKey, Group], places: dict[str, Place]
) -> HoleRows | None:
    """Where the parts of the holes stand."""
    holes = rules.holes
    score = together(places, [hole.score for hole in holes])
    if not holes or score is None or score[0][0] != "number":
        return None
    throws = _throws(form, rules, places)
    columns = range(throws.fields.shape[1])

    def beside(column: int, name: str, kind: str) -> list[Rows]:
        rows = together(places, [f"{hole.throws[column][0]}.{name}" for hole in holes])
        return [rows] if rows is not None and rows[0][0] == kind else []

    distances = [
        rows for column in throws.putts if column >= 0 for rows in beside(column, "distance", "number")
    ]
    stances = [(*rows, column) for column in columns for rows in beside(column, "stance", "choose-one")]
    second_pass = (
        together(places, [hole.way for hole in holes]),
        together(places, [hole.why for hole in holes]),
        together(places, [f"{form.row_id(hole.row)}.forehand" for hole in holes]),
    )
    par = together(places, [hole.par_field for hole in holes])
    return HoleRows(
        score=score,
        throws=throws,
        penalty=_penalty(together(places, [hole.penalty for hole in holes]), groups),
        distances=distances if len({key for key, _ in distances}) == 1 else distances[:1],
        stances=stances,
        second_pass=[rows for rows in second_pass if rows is not None and rows[0][0] != "long"],
        par=par if par is not None and par[0][0] == "number" else None,
    )


def _penalty(rows: Rows | None, groups: dict[GroupKey, Group]) -> tuple[GroupKey, Ints, list[int]] | None:
    """Where the penalty throws stand, if their options are numbers."""
    if rows is None or rows[0][0] != "choose-one":
        return None
    options = [option.id for option in groups[rows[0]].fields[int(rows[1][0])].options]
    if not all(option.isdecimal() and 0 < int(option) <= 9 for option in options):
        return None
    return *rows, [int(option) for option in options]


def _hole_rules(form: Form, rules: CardRules) -> dict[str, str]:
    """The rule of its own hole that ties each field down."""
    named: dict[str, str] = {}
    for hole in rules.holes:
        row = form.row_id(hole.row)
        named[hole.score] = named[f"{row}.penalty"] = "throws"
        named |= {f"{row}.{name}": "second-pass" for name in ("way", "why", "forehand")}
        for throw, _ in hole.throws:
            named |= {throw: "throws", f"{throw}.stance": "throws", f"{throw}.distance": "putts"}
    return named


def _throws(form: Form, rules: CardRules, places: dict[str, Place]) -> Throws:
    """The throws of all holes, none where the holes differ or a throw is not `clean` or `miss`."""
    none = np.zeros((len(rules.holes), 0), dtype=int)
    nothing = Throws(("choose-one", 2), none, (0, 1, 2), (0,) * len(rules.phases), (-1, -1))
    fields = {field.id: field for field in form.fields}
    patterns = {
        tuple((field_id.split(".", 1)[1], phase) for field_id, phase in hole.throws) for hole in rules.holes
    }
    options = {tuple(o.id for o in fields[field_id].options) for h in rules.holes for field_id, _ in h.throws}
    if (
        len(patterns) != 1
        or len(options) != 1
        or sorted(next(iter(options))) != (["miss"] if rules.only_misses else ["clean", "miss"])
    ):
        return nothing
    names, choice = patterns.pop(), options.pop()
    rows = np.array([[places[field_id][1] for field_id, _ in hole.throws] for hole in rules.holes])
    phases = [phase for _, phase in names]
    last = rules.phases[-1]
    first_two = last.columns[:2] if last.role == "target" else ()
    putts = [at for at, (name, _) in enumerate(names) if name in first_two]
    only_misses = rules.only_misses and choice == ("miss",)
    return Throws(
        group=("choose-one", len(choice)),
        fields=rows,
        answers=(0, 0 if only_misses else 1 + choice.index("clean"), 1 + choice.index("miss")),
        columns=tuple(phases.count(phase.id) for phase in rules.phases),
        putts=(putts[0] if putts else -1, putts[1] if len(putts) > 1 else -1),
        only_misses=only_misses,
    )
