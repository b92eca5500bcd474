"""Random rounds for laws: random values mixed with a pool of nasty fixed ones."""

from __future__ import annotations

from datetime import UTC, datetime

from hypothesis import strategies as st

from shortpencil.forms.form import USUAL_PHASES, Phase
from shortpencil.scan.records.rounds import Hole, PracticeSet, Round, Throw, Value

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
texts = st.sampled_from(NASTY) | st.text(_ANY, min_size=1, max_size=12)
maybe_text = st.none() | texts
ids = st.from_regex(r"[A-Za-z0-9][A-Za-z0-9._-]{0,9}", fullmatch=True)
times = st.datetimes(datetime(2000, 1, 1), datetime(2099, 1, 1), timezones=st.just(UTC))
days = st.dates().map(lambda day: day.isoformat())
metres = st.integers(0, 99) | st.floats(0, 300, allow_nan=False).map(lambda x: round(x, 3))
p = st.none() | st.floats(0, 1)


@st.composite
def values(draw, value) -> Value:
    """A value of any source; a waiting one may be a guess or nothing."""
    source = draw(st.sampled_from(("read", "inferred", "printed", "entered", "imported", "default")))
    entered = source == "entered"
    return Value(
        value=draw(value),
        source=source,
        p=draw(p) if source in ("read", "default") else None,
        status=draw(st.sampled_from(("known", "known", "known", "waits"))),
        rule=draw(texts) if source == "inferred" else None,
        by=draw(texts) if entered else None,
        at=draw(times) if entered else None,
        over=draw(st.none() | texts | st.integers(0, 99) | st.booleans()) if entered else None,
    )


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


@st.composite
def throws(draw, order: int, phases: tuple[Phase, ...] = USUAL_PHASES) -> Throw:
    execution = draw(values(st.sampled_from(("clean", "miss", "unmarked"))))
    directions = tuple(draw(st.lists(st.sampled_from(("left", "right", "long", "short")), max_size=2)))
    joined = " ".join(directions) or None
    return Throw(
        order=order,
        phase=draw(st.sampled_from([phase.id for phase in phases])),
        execution=execution,
        holed=draw(st.none() | st.booleans()),
        distance=draw(st.none() | values(st.none() | metres)),
        distance_m=draw(st.none() | metres),
        stance=draw(st.none() | values(maybe_text)),
        directions=directions,
        directions_from=draw(st.none() | values(st.just(joined))),
        forehand=draw(st.none() | st.booleans()),
        forehand_from=draw(st.none() | values(st.none() | st.booleans())),
        cause=draw(st.none() | values(maybe_text)),
        words=draw(maybe_text),
        words_from=draw(st.none() | values(maybe_text)),
        words_picture=draw(maybe_text),
    )


@st.composite
def holes(draw, number: int, phases: tuple[Phase, ...] = USUAL_PHASES) -> Hole:
    return Hole(
        number=number,
        score=draw(count(99)),
        penalty=draw(count(2)),
        par=draw(count(6)),
        length_m=draw(st.none() | metres),
        throws=tuple(draw(throws(order, phases)) for order in range(1, 1 + draw(st.integers(0, 3)))),
    )


@st.composite
def rounds(draw, id_=ids) -> Round:
    numbers = draw(st.lists(st.integers(1, 27), max_size=3, unique=True))  # any start hole, any order
    phases = draw(st.sampled_from(GAMES))
    names = [phase.id for phase in phases]
    return Round(
        id=draw(id_),
        form=draw(texts.filter(lambda text: len(text) <= 100)),
        played_on=draw(values(st.none() | days)),
        player=draw(maybe_text),
        course=draw(maybe_text),
        layout=draw(maybe_text),
        hand=draw(values(st.sampled_from(("right", "left", None)))),
        unit=draw(st.sampled_from(("m", "ft"))),
        wind=draw(values(maybe_text)),
        worst=draw(values(st.sampled_from((*names, None)))),
        tallies={phase: draw(count(99)) for phase in draw(st.sets(st.sampled_from(names)))},
        total=draw(count(999)),
        holes=tuple(draw(holes(number, phases)) for number in numbers),
        sources=tuple(
            draw(st.lists(st.from_regex(r"[0-9a-f]{64}", fullmatch=True), max_size=2, unique=True))
        ),
        recorded_at=draw(st.none() | times),
        waiting=tuple(draw(st.lists(st.sampled_from(("h01.score", "total")), max_size=2, unique=True))),
        notes=draw(st.dictionaries(st.sampled_from(("h01.why", "resolve")), texts)),
        phases=phases,
    )


many_rounds = st.lists(rounds(), max_size=3, unique_by=lambda round_: round_.id)


@st.composite
def practice_sets(draw) -> list[PracticeSet]:
    def one(row: int) -> PracticeSet:
        tries = draw(st.integers(0, 99))
        day = draw(st.none() | st.dates())
        return PracticeSet(
            card="P1",
            row=row,
            day=day,
            player=draw(maybe_text),
            drill=draw(texts.filter(lambda text: len(text) <= 100)),
            tries=Value(tries, source="imported"),
            made=Value(draw(st.none() | st.integers(0, tries)), source="imported"),
        )

    return [one(row) for row in range(1, 1 + draw(st.integers(0, 2)))]
