"""Random rounds for laws: random values mixed with a pool of nasty fixed ones."""

from __future__ import annotations

from datetime import UTC, date, datetime
from functools import cache, partial
from unicodedata import normalize

from hypothesis import strategies as st

from shortpencil.forms.form import USUAL_PHASES, Phase
from shortpencil.scan.records.composing.rounds import (
    FIRST_YEAR,
    LAST_YEAR,
    Hole,
    PracticeSet,
    Round,
    Throw,
    Value,
)

NASTY = (
    "=1+1",
    "@SUM(A1)",
    "-2",
    "+3",
    " =1",
    "'=1",
    "'",
    "''",
    "＝1",
    "\t1",
    'a "quoted", comma',
    "two\nlines",
    "NULL",
    "null",
    "true",
    "1e5",
    "007",
    " ",
    "é",
    "e\u0301",
    "😀",
    "\u202eabc",
    "\ufeff",
    "\ufffe",
    "ʹ",
    ";",
    "x" * 500,
)
_ANY = st.characters(exclude_categories=["Cs", "Cc"])
#: With each letter and its accent as one sign: so a store and an import make of any other.
texts = (st.sampled_from(NASTY) | st.text(_ANY, min_size=1, max_size=12)).map(partial(normalize, "NFC"))
maybe_text = st.none() | texts
ids = st.from_regex(r"[A-Za-z0-9][A-Za-z0-9._-]{0,9}", fullmatch=True)
times = st.datetimes(datetime(2000, 1, 1), datetime(2099, 1, 1), timezones=st.just(UTC))
_dates = st.dates(date(FIRST_YEAR, 1, 1), date(LAST_YEAR, 12, 31))
days = _dates.map(lambda day: day.isoformat())
metres = st.integers(0, 99) | st.floats(0, 300, allow_nan=False).map(lambda x: round(x, 3))
p = st.none() | st.floats(0, 1)

# A strategy is made and checked once and drawn from thousands of times: what takes arguments is kept.
maybe_bool = st.none() | st.booleans()
maybe_metres = st.none() | metres
sources = st.sampled_from(("read", "inferred", "printed", "entered", "imported", "default"))
statuses = st.sampled_from(("known", "known", "known", "waits"))
overruled = st.none() | texts | st.integers(0, 99) | st.booleans()
one_of = cache(st.sampled_from)


@cache
@st.composite
def values(draw, value) -> Value:
    """A value of any source; a waiting one may be a guess or nothing."""
    source = draw(sources)
    entered = source == "entered"
    return Value(
        value=draw(value),
        source=source,
        p=draw(p) if source in ("read", "default") else None,
        status=draw(statuses),
        rule=draw(texts) if source == "inferred" else None,
        by=draw(texts) if entered else None,
        at=draw(times) if entered else None,
        over=draw(overruled) if entered else None,
    )


@cache
def count(top: int):
    return values(st.none() | st.integers(0, top))


#: The usual game, one without putts, one of four phases.
GAMES = (
    USUAL_PHASES,
    USUAL_PHASES,
    (Phase("drive", "drive", "tee", ("drive",)), Phase("rest", "all the rest", "between", ("r1", "r2"))),
    (
        Phase("drive", "tee shot", "tee", ("drive",)),
        Phase("fairway", "fairway", "between", ("fairway1", "fairway2")),
        Phase("upshot", "=1+1", "between", ("upshot1",)),
        Phase("putt", "putt", "target", ("putt1", "putt2")),
    ),
)


executions = values(st.sampled_from(("clean", "miss", "unmarked")))
directions_of_a_miss = st.lists(st.sampled_from(("left", "right", "long", "short")), max_size=2)
maybe_distance = st.none() | values(maybe_metres)
maybe_told = st.none() | values(maybe_text)
maybe_told_bool = st.none() | values(maybe_bool)


@cache
def _told_as(joined: str | None):
    return st.none() | values(st.just(joined))


@cache
@st.composite
def throws(draw, order: int, phases: tuple[Phase, ...] = USUAL_PHASES) -> Throw:
    execution = draw(executions)
    directions = tuple(draw(directions_of_a_miss))
    joined = " ".join(directions) or None
    return Throw(
        order=order,
        phase=draw(one_of(tuple(phase.id for phase in phases))),
        execution=execution,
        holed=draw(maybe_bool),
        distance=draw(maybe_distance),
        distance_m=draw(maybe_metres),
        stance=draw(maybe_told),
        directions=directions,
        directions_from=draw(_told_as(joined)),
        forehand=draw(maybe_bool),
        forehand_from=draw(maybe_told_bool),
        cause=draw(maybe_told),
        words=draw(maybe_text),
        words_from=draw(maybe_told),
        words_picture=draw(maybe_text),
    )


throws_a_hole = st.integers(0, 3)


@cache
@st.composite
def holes(draw, number: int, phases: tuple[Phase, ...] = USUAL_PHASES) -> Hole:
    return Hole(
        number=number,
        score=draw(count(99)),
        penalty=draw(count(2)),
        par=draw(count(6)),
        length_m=draw(maybe_metres),
        throws=tuple(draw(throws(order, phases)) for order in range(1, 1 + draw(throws_a_hole))),
    )


hole_numbers = st.lists(st.integers(1, 27), max_size=3, unique=True)  # any start hole, any order
games = st.sampled_from(GAMES)
form_names = texts.filter(lambda text: len(text) <= 100)
days_played = values(st.none() | days)
hands = values(st.sampled_from(("right", "left", None)))
units = st.sampled_from(("m", "ft"))
told_texts = values(maybe_text)
photos = st.lists(st.from_regex(r"[0-9a-f]{64}", fullmatch=True), max_size=2, unique=True)
maybe_times = st.none() | times
waiting_fields = st.lists(st.sampled_from(("h01.score", "total")), max_size=2, unique=True)
notes_by_field = st.dictionaries(st.sampled_from(("h01.why", "resolve")), texts)


@cache
def _worst_of(names: tuple[str, ...]):
    return values(st.sampled_from((*names, None)))


@cache
def _some_of(names: tuple[str, ...]):
    return st.sets(st.sampled_from(names))


@st.composite
def rounds(draw, id_=ids) -> Round:
    numbers = draw(hole_numbers)
    phases = draw(games)
    names = tuple(phase.id for phase in phases)
    return Round(
        id=draw(id_),
        form=draw(form_names),
        played_on=draw(days_played),
        player=draw(maybe_text),
        course=draw(maybe_text),
        layout=draw(maybe_text),
        hand=draw(hands),
        unit=draw(units),
        wind=draw(told_texts),
        worst=draw(_worst_of(names)),
        tallies={phase: draw(count(99)) for phase in draw(_some_of(names))},
        total=draw(count(999)),
        holes=tuple(draw(holes(number, phases)) for number in numbers),
        sources=tuple(draw(photos)),
        recorded_at=draw(maybe_times),
        waiting=tuple(draw(waiting_fields)),
        notes=draw(notes_by_field),
        phases=phases,
    )


many_rounds = st.lists(rounds(), max_size=3, unique_by=lambda round_: round_.id)


def _metres(metres: float | None) -> Value:
    return Value(None if metres is None else round(metres, 2), source="imported")


@st.composite
def practice_sets(draw) -> list[PracticeSet]:
    def one(row: int) -> PracticeSet:
        tries = draw(st.integers(0, 99))
        day = draw(st.none() | _dates)
        return PracticeSet(
            card="P1",
            row=row,
            day=day,
            player=draw(maybe_text),
            drill=draw(form_names),
            tries=Value(tries, source="imported"),
            made=Value(draw(st.none() | st.integers(0, tries)), source="imported"),
            distance_m=draw(st.none() | st.builds(_metres, st.none() | st.floats(0.5, 99))),
        )

    return [one(row) for row in range(1, 1 + draw(st.integers(0, 2)))]
