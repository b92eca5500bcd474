"""The sums a card promises, stated once: printed on the card, used to decode it, used to validate the record.

Rules of the sport: a hole's score is its throws plus its penalty throws, a number; the round's total is the
sum of the scores (Official Rules of Disc Golf, 808.D). The rest are promises of this card: the tally of a
phase is the count of its misses; a cause stands only where something missed.
"""

from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass

from shortpencil.forms.called import called
from shortpencil.forms.form import USUAL_PHASES, Field, Form, Phase
from shortpencil.scan.language import LANGUAGES, N_, _, noun

#: Phases of a card that declares none.
PHASES = tuple(phase.id for phase in USUAL_PHASES)


class _Said(dict[str, str]):
    """What phases are called in sentences; those of a card of one's own after their id."""

    def __init__(self, ending: str, **usual: str) -> None:
        super().__init__(usual)
        self._ending = ending

    def __missing__(self, phase: str) -> str:
        return phase + self._ending


#: A throw of a phase, and several, as they stand in sentences: ``drive``, ``upshot throw``.
ONE: Mapping[str, str] = _Said(" throw", drive=N_("drive"), approach=N_("approach"), putt=N_("putt"))
MANY: Mapping[str, str] = _Said(" throws", drive=N_("drives"), approach=N_("approaches"), putt=N_("putts"))
#: The same in a column that has no room for more.
IN_TABLES: Mapping[str, str] = _Said("", drive="drives", approach="approaches", putt="putts")


def throw_in_english(phase: str, label: str) -> str:
    """Return a throw of a phase as a finding says it; `label` is what its form calls a phase of one's own."""
    return ONE.get(phase, f"{label} throw")


def missed_in_english(number: int, phase: str, label: str) -> str:
    """Return so many missed throws of a phase as a finding says them, which is told in other languages later.

    A phase of a card of one's own is called what its form calls it, `label`.
    """
    if number == 1:
        return f"1 missed {throw_in_english(phase, label)}"
    return f"{number} missed {MANY.get(phase, f'{label} throws')}"


_WIDEST = 12  # signs of a phase's name in a table, as "Annäherungen" has


def _own(phase: str) -> str:
    return noun(called(phase))


def one_said(phase: str) -> str:
    """Return `ONE` of a phase in the language that is spoken."""
    return _(ONE[phase]) if phase in ONE else _("{phase} throw", phase=_own(phase))


def phase_said(phase: str) -> str:
    """Return what a phase is called by itself, in the language that is spoken."""
    return _(ONE[phase]) if phase in ONE else _own(phase)


def many_said(phase: str) -> str:
    """Return `MANY` of a phase in the language that is spoken."""
    return _(MANY[phase]) if phase in MANY else _("{phase} throws", phase=_own(phase))


def in_tables_said(phase: str) -> str:
    """Return `IN_TABLES` of a phase in the language that is spoken; where its own name is long, its id."""
    if phase in IN_TABLES:
        return _(IN_TABLES[phase])
    own = _own(phase)
    return own if len(own) <= _WIDEST else noun(phase)


@dataclass(frozen=True, slots=True)
class HoleRule:
    """score = throws + penalty throws on one hole.

    `throws` are (field id, phase) in the order thrown; a hole may have more throws than columns, which then
    stay unmarked. Where the layout is printed in, `par` is known; else `par_field` asks for it (or is None).
    """

    number: int
    row: int
    score: str
    penalty: str | None
    throws: tuple[tuple[str, str], ...]
    par: int | None
    par_field: str | None
    distances: tuple[str, ...]
    way: str | None
    why: str | None


@dataclass(frozen=True, slots=True)
class TallyRule:
    """tally = number of misses among `throws`, all of one phase, which is called `label`."""

    tally: str
    phase: str
    throws: tuple[str, ...]
    label: str


@dataclass(frozen=True, slots=True)
class TotalRule:
    """total = sum of the hole scores."""

    total: str
    scores: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class CountRule:
    """On a practice sheet, count = how many of these are marked.

    Attributes
    ----------
    count : the number field
    of : the one choose-many field whose options are counted; or the choose-one fields that say `option`
    option : None where options are counted
    number : what is printed before the row that a count stands in; None at the foot
    """

    count: str
    of: tuple[str, ...]
    option: str | None
    number: int | None


@dataclass(frozen=True, slots=True)
class CardRules:
    """Every sum of one form; empty where the form has no such fields.

    `phases` are those of the game in the order thrown, also where the card has no column for one.
    `only_misses`: the card declares that what is unmarked was clean. `extra` are the fields that the game
    does not know, kept as they are answered. A practice sheet has `counts`, and `rungs`: the distances of a
    ladder, the nearest first; or `flights`: how far each throw flew. A practice card has `tries`: the numbers
    of what was made, each with the tries that it is of. `best` is the farthest rung with `ENOUGH` of them.
    """

    holes: tuple[HoleRule, ...]
    tallies: tuple[TallyRule, ...]
    total: TotalRule | None
    worst: str | None
    extra: tuple[str, ...] = ()
    phases: tuple[Phase, ...] = USUAL_PHASES
    only_misses: bool = False
    counts: tuple[CountRule, ...] = ()
    rungs: tuple[str, ...] = ()
    flights: tuple[str, ...] = ()
    tries: tuple[tuple[str, int], ...] = ()
    best: str | None = None

    @property
    def phase_ids(self) -> tuple[str, ...]:
        """Ids of the phases in the order thrown."""
        return tuple(phase.id for phase in self.phases)


def rules_of(form: Form) -> CardRules:
    """Return the sums that `form` promises: those of a round, or what a practice sheet counts."""
    if form.record != "round":
        return _rules_of_sheet(form)
    known = {field.id for field in form.fields}
    columns = tuple((name, phase.id) for phase in form.phases for name in phase.columns)

    def if_known(field_id: str) -> str | None:
        return field_id if field_id in known else None

    holes = []
    for row in range(1, form.rows + 1):
        at = form.row_id(row)
        if f"{at}.score" not in known:
            continue
        throws = tuple((f"{at}.{name}", phase) for name, phase in columns if f"{at}.{name}" in known)
        holes.append(
            HoleRule(
                number=form.row_numbers[row - 1],
                row=row,
                score=f"{at}.score",
                penalty=if_known(f"{at}.penalty"),
                throws=throws,
                par=form.course.holes[row - 1].par if form.course else None,
                par_field=if_known(f"{at}.par"),
                distances=tuple(
                    f"{field_id}.distance" for field_id, _ in throws if f"{field_id}.distance" in known
                ),
                way=if_known(f"{at}.way"),
                why=if_known(f"{at}.why"),
            )
        )
    tallies = tuple(
        TallyRule(
            f"tally.{phase.id}",
            phase.id,
            tuple(field_id for hole in holes for field_id, of in hole.throws if of == phase.id),
            phase.label,
        )
        for phase in form.phases
        if f"tally.{phase.id}" in known
    )
    total = TotalRule("total", tuple(h.score for h in holes)) if "total" in known and holes else None
    names = {*_HEAD, *_DATE, *(tally.tally for tally in tallies)}
    in_rows = {*_IN_ROWS, *(name for name, _ in columns)}
    in_rows |= {f"{name}.{what}" for name, _ in columns for what in ("distance", "stance")}
    extra = tuple(field.id for field in form.fields if not _is_of_the_game(field, names, in_rows))
    of_throws = {name for hole in holes for name, _ in hole.throws}
    only_misses = bool(of_throws) and all(f.default == "clean" for f in form.fields if f.id in of_throws)
    return CardRules(tuple(holes), tallies, total, if_known("worst"), extra, form.phases, only_misses)


#: On a practice sheet: what is counted in a row, and its count; what is counted over all rows, and the count
#: at the foot, which is called as the option is.
_FILLED, MADE = "dropped", "made"
_JUDGED, _WELL = "execution", "clean"
#: The practice sheets that come with the program.
LADDER_SHEET, FIELD_SHEET = "putting-ladder", "field-work"


def is_sheet(form: Form, sheet: str) -> bool:
    """Say whether a form is that practice sheet, in whatever language it is built in."""
    return form.name == sheet or form.name in (f"{sheet}-{language}" for language in LANGUAGES)


#: The farthest rung from which so many of ten dropped, at the foot of that ladder. On a form of one's own it
#: may be the best of anything.
_BEST, ENOUGH = "best", 7


def _rules_of_sheet(form: Form) -> CardRules:
    """What a practice sheet counts, and its distances: those of a ladder, or how far each throw flew."""
    fields = {field.id: field for field in form.fields}

    def of_type(field_id: str, kind: str) -> bool:
        return field_id in fields and fields[field_id].type == kind

    rows = [(row, form.row_id(row)) for row in range(1, form.rows + 1)]
    ladder = [(row, at) for row, at in rows if of_type(f"{at}.{_FILLED}", "choose-many")]
    judged = [
        at
        for _, at in rows
        if of_type(f"{at}.{_JUDGED}", "choose-one")
        and _WELL in (option.id for option in fields[f"{at}.{_JUDGED}"].options)
    ]
    counts = [
        CountRule(f"{at}.{MADE}", (f"{at}.{_FILLED}",), None, form.row_numbers[row - 1])
        for row, at in ladder
        if of_type(f"{at}.{MADE}", "number")
    ]
    if judged and of_type(_WELL, "number"):
        counts.append(CountRule(_WELL, tuple(f"{at}.{_JUDGED}" for at in judged), _WELL, None))

    def distances(rows: Iterable[str]) -> tuple[str, ...]:
        return tuple(name for at in rows if of_type(name := f"{at}.distance", "number"))

    rungs, flights = distances(at for _, at in ladder), distances(judged)
    return CardRules(
        (),
        (),
        None,
        None,
        counts=tuple(counts),
        rungs=rungs,
        flights=flights,
        tries=tuple(_made_of(form)),
        best=_BEST if is_sheet(form, LADDER_SHEET) and ladder and of_type(_BEST, "number") else None,
    )


def _made_of(form: Form) -> Iterator[tuple[str, int]]:
    """Yield each number ``made.DRILL.TRIES.SET`` of a practice card with its tries."""
    for field in form.fields:
        parts = field.id.split(".")
        if field.type == "number" and len(parts) == 4 and parts[0] == MADE and parts[2].isdecimal():
            yield field.id, int(parts[2])


#: Fields outside the rows that a round has a place for, beside its tallies.
_HEAD = ("player", "course", "layout", "hand", "wind", "unit", "worst", "total")
_DATE = ("date.day", "date.month", "date.year")
_IN_ROWS = ("par", "score", "penalty", "way", "forehand", "why", "words")


def _is_of_the_game(field: Field, outside: set[str], in_rows: set[str]) -> bool:
    """Say whether a round has a place of its own for a field; words outside the rows are its notes."""
    if field.row is None:
        return field.type == "words" or field.id in outside
    return field.id.split(".", 1)[1] in in_rows
