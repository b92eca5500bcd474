from dataclasses import replace

import numpy as np
import pytest

from shortpencil.scan.practice import cost
from shortpencil.scan.practice.hidden import hidden_of
from shortpencil.scan.practice.history import history_of
from tests.practice import worlds
from tests.practice.invented import Player, blank, hole, one_round, rounds_of, throw


def test_costs_are_equal_after_one_round():
    got = cost.costs_of(history_of(rounds_of(Player(), 1, np.random.default_rng(2))))
    assert got.mean == pytest.approx([cost.PRIOR_COST_STROKES] * 3)
    assert got.sd == pytest.approx([cost.PRIOR_COST_SD] * 3)
    assert got.throws == (0, 0, 0)


def test_cost_by_hand():
    # 200 holes: after a clean drive 2 more throws, after a missed one 2 or 3, half and half
    def played(missed, extra):
        throws = [throw(1, "drive", "miss" if missed else "clean"), throw(2, "approach", "clean")]
        throws += [throw(3, "approach", "clean")] * extra
        return hole(1, [*throws, throw(3 + extra, "putt", "clean", True)])

    rounds = [one_round(str(i), [played(True, i % 2), played(False, 0)]) for i in range(200)]
    got = cost.costs_of(history_of(rounds))
    assert got.mean[0] == pytest.approx(0.5, abs=0.01)
    assert got.throws == (400, 500, 400)
    assert got.cost(0).interval().low < 0.5 < got.cost(0).interval().high
    assert got.cost(0).interval().high - got.cost(0).interval().low < 0.18
    # nothing but clean approaches: no comparison, the prior stands, moved by nothing since drives cost as
    # much as it says; of its variance the common part is nearly known, and costs unlike the usual ones are
    # less probable, but for drives that may be by themselves
    assert got.mean[1] == pytest.approx(cost.PRIOR_COST_STROKES, abs=0.005)
    usual = cost.BELIEFS[0]
    left = usual.sd**2 - usual.common**2 * usual.tee_common**2 / usual.tee**2
    assert left**0.5 < got.sd[1] < cost.PRIOR_COST_SD


def test_against_least_squares_on_the_clean_throws():
    # outside check: the same columns, a level for each hole and day, in statsmodels, as ridge regression
    import statsmodels.api as sm

    g = np.random.default_rng(2)
    (e,) = worlds.cards_of(worlds.play(worlds.players_of(worlds.WORLDS[2], 1, g), 25, g), g)
    at = np.flatnonzero((e.throw_phase == 2) & (e.throw_left >= 0) & (e.throw_execution != 2))
    x = cost._columns(e, at, 2, cost.place_in_phase(e), cost.mark_before(e))
    hole, day = cost.same_hole(e)[e.throw_hole[at]], e.hole_round[e.throw_hole[at]]
    full = np.hstack([x, np.eye(18)[hole], np.eye(25)[day]])
    missed, left = e.throw_execution[at] == 1, e.throw_left[at].astype(float)
    ridge = np.r_[1e-6, [cost.COLUMN_THROWS] * (x.shape[1] - 1), [cost.LEVEL_THROWS] * 43]
    rows = np.vstack([full[~missed], np.diag(np.sqrt(ridge))])
    fit = sm.OLS(np.r_[left[~missed], np.zeros(len(ridge))], rows).fit()
    model = cost._CleanThrows(cost._Situation(x, hole, day), ~missed, 0.8)
    assert model.foretold(left) == pytest.approx(full @ fit.params, abs=1e-6)
    t = full[missed].sum(axis=0)
    assert model.variance_of_sum(missed.astype(float), 1.0) == pytest.approx(
        t @ fit.normalized_cov_params @ t, rel=1e-6
    )


def _alone(situations, missed, left):
    """Throws that share nothing but their situation."""
    x = np.column_stack([np.ones(len(missed)), np.array(situations, float)])
    none = np.zeros(len(missed), dtype=np.int64)
    return cost._Situation(x, none, none), np.array(missed, bool), np.array(left, float)


def test_the_published_example_of_a_difference_that_is_none():
    # Hernan and Robins, Causal Inference: What If, table 2.2 (from memory): deaths by treatment A within L.
    # L = 0: 1 of 4 without, 1 of 4 with; L = 1: 2 of 3 without, 6 of 9 with. Crude 3/7 against 7/13, within L
    # no difference at all, whoever one averages over.
    cells = [(0, 0, 4, 1), (0, 1, 4, 1), (1, 0, 3, 2), (1, 1, 9, 6)]
    rows = [(kind, a, i < died) for kind, a, n, died in cells for i in range(n)]
    situation, missed, left = _alone(*zip(*rows, strict=True))
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(cost, "LEVEL_THROWS", 1e9)
        patch.setattr(cost, "COLUMN_THROWS", 1e-9)
        one, clean = cost._learnt(
            situation, missed, left, 0 * left, np.arange(20), np.zeros(20, dtype=np.int64), np.zeros(20), 0.8
        )
    assert left[missed].mean() - left[~missed].mean() == pytest.approx(7 / 13 - 3 / 7)
    assert one[0] == pytest.approx(0.0, abs=1e-6)
    assert clean[0] == pytest.approx(0.0, abs=1e-6)


def test_the_published_example_of_two_treatments_one_after_the_other():
    # Hernan and Robins, What If, table 21.1 (from memory): A0, L1, A1 -> n, mean Y. Never treated and always
    # treated both have mean 60 by the g-formula, though the means as they stand differ. Here A is a miss, a
    # hole has two throws of the phase, L1 is the situation of the second one; after the first are 1 + Y.
    table = {
        (0, 0, 0): (2400, 84), (0, 0, 1): (1600, 84), (0, 1, 0): (2400, 52), (0, 1, 1): (9600, 52),
        (1, 0, 0): (4800, 76), (1, 0, 1): (3200, 76), (1, 1, 0): (1600, 44), (1, 1, 1): (6400, 44),
    }  # fmt: skip
    rows, hole, total = [], [], 0
    for (a0, l1, a1), (n, y) in table.items():
        for _ in range(n // 400):
            # the second throw's situation holds A0 and L1, as the mark before it is held for a real one
            rows += [((0, 0, 0, 0), a0, y + 1), ((1, a0, l1, a0 * l1), a1, y)]
            hole += [total, total]
            total += 1
    situation, missed, left = _alone(*zip(*rows, strict=True))
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(cost, "LEVEL_THROWS", 1e9)
        patch.setattr(cost, "COLUMN_THROWS", 1e-9)
        _, (saved, _) = cost._learnt(
            situation,
            missed,
            left,
            0 * left,
            np.array(hole),
            np.tile([0, 1], total),
            np.zeros(2 * total),
            0.8,
        )
    natural = left[::2].mean() - 1
    assert natural - saved * missed.sum() / total == pytest.approx(60.0, abs=1e-4)


def test_a_phase_without_misses_saves_less_than_its_costs_added_up():
    g = np.random.default_rng(12)
    player = Player(miss=(0.3, 0.3, 0.6), cost=(0.4, 0.5, 0.9))
    got = cost.costs_of(history_of(rounds_of(player, 150, g)))
    assert got.saved[2] < got.mean[2] - 0.1
    # one drive a hole: nothing to count twice, and what is left comes from the other phases' common part
    assert got.saved[0] == pytest.approx(got.mean[0], abs=0.01)


@pytest.mark.parametrize("number", [1, 2, 3])
def test_ranges_hold_where_days_holes_and_distances_differ(number):
    # A small sample of the tables in docs/practice.md: 12 players, 30 rounds, three phases, two numbers each.
    g = np.random.default_rng(40 + number)
    players = worlds.players_of(worlds.WORLDS[number], 12, g)
    truth = worlds.truth_of(players, g, rounds=30)
    held = []
    for i, e in enumerate(worlds.cards_of(worlds.play(players, 30, g), g)):
        got = cost.costs_of(e)
        misses = truth.misses[i]
        for k in range(3):
            reach = 1.645 * got.sd[k]
            held.append(abs(got.mean[k] - truth.cost[i, k]) < reach)
            held.append(abs(got.saved[k] - truth.saved[i, k] / misses[k]) < 1.645 * got.saved_sd[k])
    # 72 statements; below .8 has a chance of under 1 % if each holds nine times in ten (they hang together)
    assert np.mean(held) > 0.8


def test_one_normal_is_updated_by_the_usual_formula():
    # A normal prior with covariance .15^2 and variance .3^2; observed 1.0 (variance .01) of the first of two:
    # by the usual formula the second's mean moves by .0225 / (.09 + .01) of .5, its variance by .0225^2 / .1.
    prior = cost.Believed(1.0, 0.3, 0.3, 0.15, 0.15).covariance(np.zeros(2, dtype=bool))
    assert prior == pytest.approx(np.array([[0.09, 0.0225], [0.0225, 0.09]]))
    mean, variance, _ = cost._posterior_of_normal(np.array([1.0, 0.0]), np.array([0.01, np.inf]), prior)
    assert mean == pytest.approx([0.5 + 0.09 / 0.1 * 0.5, 0.5 + 0.0225 / 0.1 * 0.5])
    assert variance == pytest.approx([0.09 * 0.01 / 0.1, 0.09 - 0.0225**2 / 0.1])


def test_before_a_throw_all_phases_are_believed_alike():
    # or a first round's focus would not be the plain count
    assert sum(b.p for b in cost.BELIEFS) == pytest.approx(1.0)
    nothing = np.full(4, np.inf)
    mean, sd = cost._posterior(np.zeros(4), nothing, np.array([True, False, False, False]))
    assert mean == pytest.approx([cost.PRIOR_COST_STROKES] * 4)
    assert sd == pytest.approx([cost.PRIOR_COST_SD] * 4)


def test_one_cost_is_weighed_over_what_is_believed():
    # one drive's cost seen at .9 with a variance of .03: by SciPy's quadrature over the normals
    from scipy.integrate import quad
    from scipy.stats import norm

    def density(x):
        prior = sum(b.p * norm.pdf(x, 0.5, b.tee) for b in cost.BELIEFS)
        return prior * norm.pdf(0.9, x, np.sqrt(0.03))

    whole, one, two = (quad(lambda x, n=n: x**n * density(x), -4, 5)[0] for n in range(3))
    mean, sd = cost._posterior(np.array([0.9]), np.array([0.03]), np.array([True]))
    assert mean == pytest.approx([one / whole], abs=1e-6)
    assert sd == pytest.approx([np.sqrt(two / whole - (one / whole) ** 2)], abs=1e-6)


def test_costs_at_once_are_weighed_by_their_joint_probability():
    from scipy.stats import multivariate_normal

    estimate, variance = np.array([0.9, 0.2, 0.4]), np.array([0.03, 0.02, 0.05])
    tee = np.array([True, False, False])
    means, weights = [], []
    for belief in cost.BELIEFS:
        prior = belief.covariance(tee)
        seen = prior + np.diag(variance)
        weights.append(belief.p * multivariate_normal([0.5] * 3, seen).pdf(estimate))
        means.append(0.5 + prior @ np.linalg.solve(seen, estimate - 0.5))
    mean, _ = cost._posterior(estimate, variance, tee)
    assert mean == pytest.approx(np.average(means, axis=0, weights=weights))


def test_misses_that_are_dear_together_are_believed_sooner():
    # Three phases seen at .95 and drives at nothing, as where whoever misses throws again: each by itself
    # would be drawn to half a stroke by its own variance.
    variance, tee = np.full(4, 0.03), np.array([True, False, False, False])
    dear, _ = cost._posterior(np.array([0.0, 0.95, 0.95, 0.95]), variance, tee)
    by_itself = 0.5 + 0.45 * 0.09 / (0.09 + 0.03)
    assert by_itself + 0.02 < dear[1] == pytest.approx(dear[3])
    # One dear phase alone is not taken for another game.
    one, _ = cost._posterior(np.array([0.5, 0.95, 0.5, 0.5]), variance, tee)
    assert one[1] == pytest.approx(by_itself, abs=0.03)


def test_costs_come_out_as_made():
    # Invented putts: a miss stays out with probability c and may be missed again, so a miss in a first putt
    # costs c (1 + t), t = p c, in a second c, in a third nothing: on average (t + 2 t^2) / (M p), with M =
    # 1 + t + t^2 putts a hole. Invented approaches: only the last one before the putt can cost, so c / M with
    # M = 1 + .35 x .4 + .3 x .5 approaches a hole.
    p, c = 0.25, 0.6
    t = p * c
    putt = (t + 2 * t * t) / ((1 + t + t * t) * p)
    approach = 0.5 / (1 + 0.35 * 0.4 + 0.3 * 0.5)
    player = Player(miss=(0.35, 0.30, p), cost=(0.4, 0.5, c))
    got = cost.costs_of(history_of(rounds_of(player, 400, np.random.default_rng(3))))
    # Here an approach is as hard whether missed or not; for the usual card some of its cost is taken off.
    usual = approach - cost.UNSEEN["between"].dearer
    assert got.mean == pytest.approx([0.4, usual, putt], abs=0.04)
    assert got.cost(1).interval().low < approach < got.cost(1).interval().high


def test_chance_behind_a_miss_is_taken_off_as_generalised_least_squares_does():
    # outside check: statsmodels, from three statements (the mean seen, the chance seen, the change is 0 with
    # its sd) of two unknowns (the cost, the change)
    import statsmodels.api as sm

    g = np.random.default_rng(8)
    n, sd = 60, 0.1
    situation = cost._Situation(np.ones((n, 1)), np.zeros(n, dtype=np.int64), np.arange(n) // 6)
    missed, putts = np.arange(n) % 3 == 0, g.poisson(0.4, n).astype(float)
    left = putts + (g.random(n) < 0.2 + 0.5 * missed)
    model = cost._CleanThrows(situation, ~missed, 1.1)
    extra, beside = left - model.foretold(left), putts - model.foretold(putts)
    sums = cost._Sums(
        model, int(missed.sum()), np.zeros(n), np.arange(n), situation.round, cost._Chance(beside, sd)
    )
    both = np.column_stack([extra, beside])
    seen = np.zeros((3, 3))
    seen[:2, :2], seen[2, 2] = sums._variance(both, missed, both), sd**2
    fit = sm.GLS([*both[missed].mean(axis=0), 0.0], np.array([[1, 0], [0, 1], [0, 1]]), sigma=seen).fit()
    mean, variance = sums.mean(extra, missed, extra)
    assert mean == pytest.approx(fit.params[0])
    assert variance == pytest.approx(fit.normalized_cov_params[0, 0])
    assert variance < 0.8 * seen[0, 0]


def test_putts_beyond_what_others_took():
    def played(putts, metres):
        throws = [throw(1, "drive", "clean"), throw(2, "approach", "clean")]
        throws += [
            throw(3 + i, "putt", "clean", i == putts - 1, distance_m=None if i else metres)
            for i in range(putts)
        ]
        return hole(1, throws)

    holes = [played(1, None), played(3, None), *[played(1, 4.0)] * 300, *[played(2, 9.0)] * 300]
    e = history_of([one_round("a", [*holes, hole(2, [throw(1, "drive", "clean", True)])])])
    beyond, written = cost._putts_beyond(e, hidden_of(e))
    assert written == pytest.approx(600 / 602)
    assert beyond[1] - beyond[0] == pytest.approx(2.0)
    assert beyond[2:-1] == pytest.approx(0.0, abs=0.05)  # the length tells them all
    assert beyond[-1] == 0.0  # an ace has no putt


def test_putts_that_no_miss_changes_blur_costs_less():
    players = [Player(cost=(c, c, 0.6)) for c in np.linspace(0.1, 0.9, 40)]
    truth = np.array([[p.cost[0], p.cost[1] / (1 + 0.35 * p.cost[0] + 0.3 * p.cost[1])] for p in players])
    truth[:, 1] -= cost.UNSEEN["between"].dearer
    histories = [history_of(rounds_of(p, 8, np.random.default_rng(i))) for i, p in enumerate(players)]

    def error():
        off = np.array([cost.costs_of(e).mean[:2] for e in histories]) - truth
        return float(np.sqrt(np.mean(off**2)))

    now = error()
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(cost, "PUTTS_CHANGED", {"tee": (1e9, 1e9), "between": (1e9, 1e9)})
        before = error()
    assert now < 0.9 * before


@pytest.mark.parametrize("phase", ["drive", "approach"])
def test_putts_that_a_miss_does_change_are_learnt_all_the_same(phase):
    # each missed drive, or approach, brings one more putt, and nothing else does: it costs one stroke
    def played(missed, i):
        marks = {"drive": "clean", "approach": "clean", phase: "miss" if missed else "clean"}
        throws = [throw(1, "drive", marks["drive"]), throw(2, "approach", marks["approach"])]
        throws += [throw(3, "putt", "clean", not missed)]
        return hole(i, [*throws, throw(4, "putt", "clean", True)] if missed else throws)

    rounds = [one_round(str(i), [played((i + j) % 3 == 0, j) for j in range(1, 19)]) for i in range(60)]
    k = ("drive", "approach").index(phase)
    got = cost.costs_of(history_of(rounds)).mean[k]
    assert got == pytest.approx(1.0 - cost.UNSEEN[("tee", "between")[k]].dearer, abs=0.05)


def test_putts_without_a_distance_leave_more_unseen():
    g = np.random.default_rng(21)
    (e,) = worlds.cards_of(worlds.play(worlds.players_of(worlds.WORLDS[0], 1, g), 150, g), g)
    bare = replace(e, throw_distance_m=np.full(len(e.throw_hole), np.nan))
    with_, without = cost.costs_of(e), cost.costs_of(bare)
    assert with_.sd[2] < 0.05 < cost.UNWRITTEN.cost_sd * 0.95 < without.sd[2]
    assert with_.saved_sd[2] < 0.05 < cost.UNWRITTEN.saved_sd * 0.95 < without.saved_sd[2]
    assert without.sd[0] == pytest.approx(with_.sd[0], abs=0.01)


def test_few_throws_draw_costs_towards_the_prior():
    player = Player(cost=(0.0, 0.5, 1.0))
    sure = cost.costs_of(history_of(rounds_of(player, 100, np.random.default_rng(6)))).mean
    few = cost.costs_of(history_of(rounds_of(player, 2, np.random.default_rng(6)))).mean
    assert sure[0] < 0.1
    assert abs(few[0] - cost.PRIOR_COST_STROKES) < abs(sure[0] - cost.PRIOR_COST_STROKES)


def test_par_and_throws_without_a_mark_change_no_cost():
    rounds = rounds_of(Player(), 40, np.random.default_rng(7))
    bare = [replace(r, holes=tuple(replace(h, par=blank()) for h in r.holes)) for r in rounds]
    assert cost.costs_of(history_of(bare)).mean == pytest.approx(cost.costs_of(history_of(rounds)).mean)
    unmarked = [replace(r, holes=tuple(unmark(h) for h in r.holes)) for r in rounds]
    assert cost.costs_of(history_of([*rounds, *unmarked])).throws == cost.costs_of(history_of(rounds)).throws


def unmark(h):
    return replace(h, throws=tuple(replace(t, execution=blank()) for t in h.throws))
