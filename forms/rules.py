"""The sums a card promises, stated once: printed on the card, used to decode it, used to validate the record.

Rules of the sport: a hole's score is its throws plus its penalty throws, a number; the round's total is the
sum of the scores (Official Rules of Disc Golf, 808.D). The rest are promises of this card: the tally of a
phase is the count of its misses; a cause stands only where something missed.
"""

from dataclasses import dataclass

from forms.form import Field, Form

PHASES = ("drive", "approach", "putt")

#: The throw columns of a round card in the order the throws happen, with the phase of each.
THROW_COLUMNS = (
    ("drive", "drive"),
    ("approach1", "approach"),
    ("approach2", "approach"),
    ("putt1", "putt"),
    ("putt2", "putt"),
    ("putt3", "putt"),
)


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
    """tally = number of misses among `throws`, all of one phase."""

    tally: str
    phase: str
    throws: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class TotalRule:
    """total = sum of the hole scores."""

    total: str
    scores: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class CardRules:
    """Every sum of one form; empty where the form has no such fields.

    `extra` are the fields that the game does not know, kept as they are answered.
    """

    holes: tuple[HoleRule, ...]
    tallies: tuple[TallyRule, ...]
    total: TotalRule | None
    worst: str | None
    extra: tuple[str, ...] = ()


def rules_of(form: Form) -> CardRules:
    """Return the sums that `form` promises; a form that is no round card promises none."""
    if form.record != "round":
        return CardRules((), (), None, None)
    known = {field.id for field in form.fields}

    def if_known(field_id: str) -> str | None:
        return field_id if field_id in known else None

    holes = []
    for row in range(1, form.rows + 1):
        at = form.row_id(row)
        if f"{at}.score" not in known:
            continue
        throws = tuple((f"{at}.{name}", phase) for name, phase in THROW_COLUMNS if f"{at}.{name}" in known)
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
            f"tally.{phase}",
            phase,
            tuple(field_id for hole in holes for field_id, of in hole.throws if of == phase),
        )
        for phase in PHASES
        if f"tally.{phase}" in known
    )
    total = TotalRule("total", tuple(h.score for h in holes)) if "total" in known and holes else None
    extra = tuple(
        field.id
        for field in form.fields
        if not _is_of_the_game(field, form, {tally.tally for tally in tallies})
    )
    return CardRules(tuple(holes), tallies, total, if_known("worst"), extra)


#: Fields outside the rows that a round has a place for, beside its tallies.
_HEAD = ("player", "course", "layout", "hand", "wind", "unit", "worst", "total")
_DATE = ("date.day", "date.month", "date.year")
_IN_ROWS = ("par", "score", "penalty", "way", "forehand", "why", "words")


def _is_of_the_game(field: Field, form: Form, tallies: set[str]) -> bool:
    """Say whether a round has a place of its own for a field; words outside the rows are its notes."""
    if field.row is None:
        return field.type == "words" or field.id in (*_HEAD, *_DATE, *tallies)
    name = field.id.split(".", 1)[1]
    throws = [throw for throw, _ in THROW_COLUMNS]
    return name in (*_IN_ROWS, *throws, *(f"{t}.{what}" for t in throws for what in ("distance", "stance")))
