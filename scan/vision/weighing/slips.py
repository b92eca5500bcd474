"""How people fill in a card, in numbers: what they forget, add wrongly, strike out; and when to ask them.

The decoder needs a chance for every way in which an honest card may break its own promises, or it would
believe a sum more than the ink. All chances here are choices made for this card, on purpose broad: they must
explain a slip, never hide a rare true value. A player who slips ten times as often costs questions, not
errors (see docs/decoding.md for what was measured).
"""

from __future__ import annotations

from dataclasses import dataclass

from shortpencil.scan.asking import SURE

#: How far a wrong sum is off, either way: one throw, a few, a carry. The rest (6 %) may be anything.
OFF_BY = {1: 0.44, 2: 0.16, 3: 0.08, 4: 0.04, 5: 0.02, 9: 0.03, 10: 0.14, 11: 0.03}
OFF_BY_ANYTHING = 1 - sum(OFF_BY.values())
#: Among doubly filled choices each further filled option is this much rarer.
FURTHER_FILLED = 0.1
#: A cause that isn't on the printed list, all together.
UNLISTED_CAUSE = 0.02


@dataclass(frozen=True, slots=True)
class Slips:
    """Chances that a player's hand or head slips, 0 to 1."""

    #: A sum of 18 numbers in the head, tired: published figures for such sums are rare, 3 % is the middle of
    #: the range the benchmark covers (0, 3 and 10 %).
    total_wrong: float = 0.03
    #: Counting up to ten marks is easier than adding 18 numbers, but marks are also changed after counting.
    tally_wrong: float = 0.05
    #: Players stop before the foot of the card. Blank costs nothing to believe: the ink shows it.
    total_blank: float = 0.10
    tally_blank: float = 0.15
    #: Of those who missed nothing in a phase, many leave its tally empty in place of a 0.
    zero_tally_blank: float = 0.40
    #: A hole not played: rounds are broken off, and nine holes are played on a card for 18.
    hole_unplayed: float = 0.03
    #: A played hole whose score was left out.
    score_forgotten: float = 0.01
    #: A throw that was made and not marked, each; and a hole whose throws were all left unmarked.
    throw_forgotten: float = 0.05
    hole_unmarked: float = 0.02
    #: Marks that fit no count of throws: a second drive after a re-tee, a score miscounted, a slipped row.
    throws_odd: float = 0.01
    #: A bubble that was marked and taken back (struck out or erased): beside a filled one, and with nothing
    #: filled in its place. Who strikes out mostly means another.
    cancelled: float = 0.02
    cancelled_alone: float = 0.002
    #: A choose-one with two options filled, and a wanted mark so messy that it looks struck out.
    double: float = 0.003
    messy: float = 0.003
    #: A digit scribbled over that the player still means, and a scribble in a box meant to be empty.
    scrap: float = 0.01
    scrap_in_blank: float = 0.003
    #: A number standing in its boxes in a way nobody foresaw (a gap, two digits in one box).
    number_odd: float = 1e-4
    #: One digit in the left of two boxes in place of the right one; a zero before it (usual in dates).
    written_left: float = 0.06
    zero_led: float = 0.04
    zero_led_date: float = 0.45
    #: Throws that were missed, of those marked. Only a start: players lie between a fifth and a half.
    miss: float = 0.4
    #: A hole with one and with two penalty throws.
    penalty_one: float = 0.08
    penalty_two: float = 0.015
    #: The second pass is about another phase than the one with most misses; it is left out altogether; its
    #: phase is not marked, since the rows tell.
    worst_other: float = 0.15
    worst_blank: float = 0.06
    worst_unnamed: float = 0.05
    #: Where the card asks for par: whether it is written. What follows is usual; what a card shows of its own
    #: player takes its place (`habits`).
    par: float = 0.70
    #: A way and a cause of the second pass filled in where the phase missed, and either where it didn't (or
    #: isn't the one).
    second_pass: float = 0.80
    cause: float = 0.80
    second_pass_astray: float = 0.01
    #: The same for a single bubble of the second pass (a throw that was not the usual one), and for one that
    #: goes with a throw (a stance) where that throw is marked, and where it isn't.
    single: float = 0.25
    single_astray: float = 0.005
    stance: float = 0.20
    stance_astray: float = 0.02
    #: A distance written for a putt that is marked, and for one that isn't: its mark was forgotten.
    distance: float = 0.70
    distance_astray: float = 0.10
    #: The next putt is longer than the one before: it rolled away.
    longer_putt: float = 0.05
    #: On a practice sheet: a row that was not thrown; one whose count is written and whose bubbles were left
    #: out; a rung of the ladder that is no farther than the one before.
    row_unthrown: float = 0.3
    bubbles_forgotten: float = 0.05
    rung_astray: float = 0.03
    #: The farthest rung with seven is another one; it is told by its distance, not by its number.
    best_wrong: float = 0.10
    best_by_distance: float = 0.05
    #: On a practice card: more was made than tried, since the drill was done otherwise.
    more_than_tries: float = 0.01
    #: So many digits of a card overruled alike (a 4 for a 9) are a habit of its hand; sums of probabilities.
    #: One alone is mostly chance: at 1 error in 100 digits every fifth card has one, but two alike stand on 1
    #: of 5,000 cards by chance.
    hand_overruled: float = 1.5
    #: A date that no calendar has. Rarer than it may be, so that one read clearly is asked about all the
    #: same: no record can hold it.
    date_odd: float = 2e-4

    @property
    def of_ink(self) -> Slips:
        """Those that say how the ink of a field by itself may look, all others as usual."""
        return Slips(
            cancelled=self.cancelled,
            cancelled_alone=self.cancelled_alone,
            double=self.double,
            messy=self.messy,
            scrap=self.scrap,
            scrap_in_blank=self.scrap_in_blank,
            number_odd=self.number_odd,
            written_left=self.written_left,
            zero_led=self.zero_led,
            zero_led_date=self.zero_led_date,
        )

    @property
    def of_throws(self) -> Slips:
        """Those that say which throws are marked, all others as usual: a key for tables made once."""
        return Slips(
            throw_forgotten=self.throw_forgotten,
            hole_unmarked=self.hole_unmarked,
            throws_odd=self.throws_odd,
            miss=self.miss,
        )


@dataclass(frozen=True, slots=True)
class FlagRule:
    """When a person is asked.

    Attributes
    ----------
    p_bubble, p_digit : a field is asked about when the posterior of its answer is below this. `SURE`
        says why there, and why it is one for all kinds.
    overruled : the decoded answer is asked about, however sure, when the ink alone favours another answer by
        at least this factor, with which it would be taken at its word. Below it the ink alone would have been
        asked about, and the sums only settle it.
    words_ink : ink share above which a strip for words holds something; a pencil line of a few letters covers
        about 1 % of a strip
    """

    p_bubble: float = SURE
    p_digit: float = SURE
    overruled: float = SURE / (1 - SURE)
    words_ink: float = 0.008
