"""Which way and why the focus phase misses, and how sure it is that the leading cause truly leads.

A cause is the player's own judgement. The side a disc went may *suggest* one; the suggestion is shown beside
what was written and never replaces it. Sides are mirrored for the throwing hand and for forehand throws:

    late side = right x (-1 if forehand) x (-1 if left-handed); the early or fade side is the other one.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from shortpencil.scan.language import N_, _, ngettext, pgettext
from shortpencil.scan.practice import words
from shortpencil.scan.practice.history import History, MissNote
from shortpencil.scan.practice.model import LEVEL, PRIOR, Interval, first_that, jeffreys, p_most_frequent

#: From .90 on a statement is called clear, from .70 on likely. Our choice of words for probabilities.
CLEAR, LIKELY = 0.90, 0.70

WAYS = ("left", "right", "long", "short")

#: The causes of the default list with the words used for them; players may have others.
CAUSE_WORDS: Mapping[str, str] = {
    "early": N_("released early"),
    "late": N_("released late, grip held"),
    "nose": N_("nose angle or height"),
    "tilt": N_("tilt not as meant (hyzer, flat, anhyzer)"),
    "wobble": N_("wobble off axis"),
    "pace": N_("too hard or too soft"),
    "rushed": N_("rushed, broken routine or run-up"),
    "balance": N_("balance, footing, stance"),
    "choice": N_("choice of line, disc or wind"),
    "other": N_("other, or don't know"),
}

#: The cause that says nothing of what to do: then the ways of the misses choose the drill, or a look does.
UNKNOWN_CAUSE = "other"

#: Notes that each cause is taken to have had before any: from causes as unlike as they can be to all alike,
#: each as likely as the next (in logarithms).
_EVENNESS = np.exp(np.linspace(np.log(0.1), np.log(3.0), 12))
#: How often a cause is taken to stand alone, its share having nothing to do with the others'.
ALONE = 0.25
_SHARES = np.linspace(0.0, 1.0, 401)
_STRIDE = 20

#: A side is called from so many misses on, where it is this probable that it is the usual one.
SIDE_MISSES, SIDE_P = 4, 0.85

#: Looking further ahead than this is no help to anybody's plans.
MOST_MORE_ROUNDS = 40


@dataclass(frozen=True, slots=True)
class Share:
    """One cause or one way: its count, and the probability that it is truly the most frequent."""

    id: str
    words: str
    count: int
    share: Interval
    p_leads: float


@dataclass(frozen=True, slots=True)
class Side:
    """Misses to the late-release side and to the other one, hands and forehands mirrored."""

    late: int
    early: int
    p_late: float


@dataclass(frozen=True, slots=True)
class OwnWords:
    """What the player wrote beside one miss: text where it is legible, else the picture's key."""

    round_id: str
    hole: int
    text: str | None
    picture: str | None


@dataclass(frozen=True, slots=True)
class Causes:
    """The second pass over one phase, summed over recent rounds.

    Attributes
    ----------
    notes, rounds : misses with a note, and the rounds they come from
    causes, ways : most frequent first
    table : (cause id, way) -> misses
    level : "clear", "likely" or "not settled" for the leading cause
    suggestion : what the sides suggest, in words, or None
    agrees : whether the suggestion is the leading cause; None without either
    more_rounds : rounds like these until the leading cause is clear; None if not within sight
    """

    phase: str
    notes: int
    rounds: int
    causes: tuple[Share, ...]
    ways: tuple[Share, ...]
    table: Mapping[tuple[str, str], int]
    side: Side
    level: str
    suggestion: str | None
    agrees: bool | None
    more_rounds: int | None
    own_words: tuple[OwnWords, ...]

    @property
    def leading(self) -> Share | None:
        """The cause noted most often, if any was noted."""
        return self.causes[0] if self.causes and self.causes[0].count else None

    @property
    def unknown_leads(self) -> bool:
        """Whether most notes say that the cause is none of the others, or not known."""
        return self.leading is not None and self.leading.id == UNKNOWN_CAUSE


def level_of(p: float) -> str:
    """Return the level of evidence that a probability stands for, in one or two words.

    In whole percent, as it is told: 90 % is never called likely in one week and clear in the next.
    """
    percent = round(100 * p)
    return "clear" if percent >= 100 * CLEAR else "likely" if percent >= 100 * LIKELY else "not settled"


def level_said(level: str) -> str:
    """Return a level of evidence in the language that is spoken."""
    return {
        "clear": pgettext("level of evidence", "clear"),
        "likely": pgettext("level of evidence", "likely"),
        "not settled": pgettext("level of evidence", "not settled"),
    }[level]


def unknown_said(causes: Causes) -> str:
    """Say that the notes tell no cause, where `Causes.unknown_leads`; nobody is sure of not knowing."""
    lead = causes.causes[0]
    return ngettext(
        'Why your {many} miss is not known yet: {count} of {n} note says "{cause}".',
        'Why your {many} miss is not known yet: {count} of {n} notes say "{cause}".',
        sum(c.count for c in causes.causes),
        many=words.MANY[causes.phase],
        count=lead.count,
        cause=lead.words,
    )


def way_said(way: str) -> str:
    """Return one of `WAYS` in the language that is spoken."""
    return {
        "left": pgettext("way of a miss", "left"),
        "right": pgettext("way of a miss", "right"),
        "long": pgettext("way of a miss", "long"),
        "short": pgettext("way of a miss", "short"),
    }[way]


def words_of(cause: str, labels: Mapping[str, str] | None = None) -> str:
    """Return a cause in words: the form's label as printed, the default list's, or its id made readable."""
    if labels and cause in labels:
        return labels[cause]
    if cause in CAUSE_WORDS:
        return _(CAUSE_WORDS[cause])
    return cause.replace("_", " ").replace("-", " ")


def first_words(words: str) -> str:
    """Return the first words of a cause, for which there is room in a chart."""
    return words.split(",", maxsplit=1)[0].split(" (", maxsplit=1)[0]


def late_side(hand: str, forehand: bool) -> str:
    """Return the side on which a disc released late lands, as the thrower sees it."""
    right = (-1 if forehand else 1) * (-1 if hand == "left" else 1) > 0
    return "right" if right else "left"


def causes_of(
    history: History,
    phase: int,
    phase_name: str,
    *,
    recent: Sequence[bool] | np.ndarray | None = None,
    labels: Mapping[str, str] | None = None,
) -> Causes:
    """Return which way and why `phase` missed, over the rounds in `recent` (all if None).

    `labels` are the causes of the player's own form, id to words; causes found in notes are added to them.
    """
    notes = [n for n in history.notes if n.phase == phase and (recent is None or recent[n.round])]
    counted: Counter[str] = Counter(n.cause for n in notes if n.cause)
    listed = list(labels) if labels else list(CAUSE_WORDS)
    listed += sorted(set(counted) - set(listed))
    causes = _shares(listed, counted, lambda c: words_of(c, labels))
    ways = _shares(list(WAYS), Counter(w for n in notes for w in n.directions if w in WAYS), way_said)
    table = Counter((n.cause, way) for n in notes if n.cause for way in n.directions)
    side = side_of(notes)
    suggestion, suggested = _suggest(side)
    lead = causes[0] if causes and causes[0].count else None
    rounds = len({n.round for n in notes})
    return Causes(
        phase=phase_name,
        notes=len(notes),
        rounds=rounds,
        causes=causes,
        ways=ways,
        table={(str(c), w): n for (c, w), n in table.items()},
        side=side,
        level=level_of(lead.p_leads) if lead else "not settled",
        suggestion=suggestion,
        agrees=None if suggested is None or lead is None else lead.id == suggested,
        more_rounds=_more_rounds([c.count for c in causes], rounds),
        own_words=tuple(
            OwnWords(history.heads[n.round].id, n.hole, n.words, n.picture)
            for n in reversed(notes)
            if n.words or n.picture
        ),
    )


def side_of(notes: Sequence[MissNote]) -> Side:
    """Return how many misses went to the late side and how many to the other, mirrored to one hand."""
    late = early = 0
    for note in notes:
        across = [d for d in note.directions if d in ("left", "right")]
        if len(across) == 1:
            if across[0] == late_side(note.hand, note.forehand):
                late += 1
            else:
                early += 1
    # One share against 1/2, not two independent rates against each other: they are each other's mirror.
    from shortpencil.scan.practice.special import betainc

    return Side(late, early, float(1 - betainc(late + PRIOR, early + PRIOR, 0.5)))


def _suggest(side: Side) -> tuple[str | None, str | None]:
    total = side.late + side.early
    if total < SIDE_MISSES:
        return None, None
    if side.p_late >= SIDE_P:
        said = _(
            "{count} of {total} misses to a side went where a disc released late goes; "
            "a disc turned over more than meant goes there too.",
            count=side.late,
            total=total,
        )
        return said, "late"
    if 1 - side.p_late >= SIDE_P:
        said = _(
            "{count} of {total} misses to a side went where a disc released early goes; "
            "more hyzer than meant, or a nose held high, goes there too.",
            count=side.early,
            total=total,
        )
        return said, "early"
    return None, None


def _shares(ids: Sequence[str], counted: Mapping[str, int], say: Callable[[str], str]) -> tuple[Share, ...]:
    counts = [counted.get(i, 0) for i in ids]
    if not ids:
        return ()
    p = p_most_frequent(counts)
    ranges = {c: shares_of(counts, c) for c in set(counts)}
    shares = [Share(i, say(i), c, ranges[c], float(q)) for i, c, q in zip(ids, counts, p, strict=True)]
    # sorted is stable: causes noted equally often stay in the order of the card
    return tuple(sorted(shares, key=lambda s: -s.count))


def shares_of(counts: Sequence[int], count: int) -> Interval:
    """Return the true share of a cause noted `count` times, with its range; `counts` are those of all causes.

    Whichever is picked for leading leads partly by chance, so the share counted is too high on average, and
    a range around it held the truth in 71 % of cases after one round. Here all shares of the list are drawn
    towards each other (a Dirichlet prior, whose strength is learnt from how unlike the counts are); what
    holds for each of them then holds for the one picked as well. In one player of four a cause stands alone,
    and its share is what was counted: without that, one that truly leads by far is told too low (ranges held
    79 to 85 %; with it 89 to 92 % on draws of 4 to 60 notes).
    """
    from shortpencil.scan.practice.special import betainc, gammaln

    n, kinds = sum(counts), len(counts)
    if kinds < 2:
        return jeffreys(count, n)
    c = np.asarray(counts, dtype=float)[:, None]
    a = _EVENNESS[None, :]
    log_weight = gammaln(kinds * a[0]) - gammaln(n + kinds * a[0]) + (gammaln(c + a) - gammaln(a)).sum(axis=0)
    weight = np.exp(log_weight - log_weight.max())
    weight /= weight.sum()
    one, rest = count + a[0], n - count + (kinds - 1) * a[0]
    alone = count + PRIOR, n - count + PRIOR

    def below(shares: np.ndarray) -> np.ndarray:
        """Return how probable it is that the true share lies below each of `shares`."""
        drawn = betainc(one[:, None], rest[:, None], shares).T @ weight
        return np.asarray((1 - ALONE) * drawn + ALONE * betainc(*alone, shares))

    middle = (1 - ALONE) * float(weight @ (one / (one + rest))) + ALONE * alone[0] / (n + 2 * PRIOR)
    # Every twentieth share first, then all between the two that an end lies between: a sixth of the work.
    ends, coarse = ((1 - LEVEL) / 2, (1 + LEVEL) / 2), below(_SHARES[::_STRIDE])
    found = []
    for end in ends:
        start = min(max(int(np.searchsorted(coarse, end)) - 1, 0) * _STRIDE, len(_SHARES) - 1 - _STRIDE)
        near = _SHARES[start : start + _STRIDE + 1]
        found.append(float(np.interp(end, below(near), near)))
    return Interval(found[0], middle, found[1])


def _more_rounds(counts: Sequence[int], rounds: int) -> int | None:
    """Return the rounds until the leader is clear if shares stay as they are, None if out of sight."""
    if not rounds or not counts or max(counts) == 0:
        return None
    top = int(np.argmax(counts))

    def clear_after(more: int) -> bool:
        grown = np.asarray(counts) * (rounds + more) / rounds
        return float(p_most_frequent(grown)[top]) >= CLEAR

    return 0 if clear_after(0) else first_that(clear_after, MOST_MORE_ROUNDS)
