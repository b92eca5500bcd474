"""The published JSON of the advice and of a season: plain types, numbers rounded, not-a-number as null."""

from __future__ import annotations

from collections.abc import Sequence
from math import isnan
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from shortpencil.scan.practice.choice import Choice
    from shortpencil.scan.practice.effect import Effect, Tested
    from shortpencil.scan.practice.focus import Focus
    from shortpencil.scan.practice.history import History
    from shortpencil.scan.practice.model import Interval
    from shortpencil.scan.practice.plan import Plan
    from shortpencil.scan.practice.putting import Putting
    from shortpencil.scan.practice.season import Season


def _rounded(value: float) -> float | None:
    return None if isnan(value) else round(float(value), 4)


def _interval(of: Interval) -> dict[str, float | None]:
    return {"low": _rounded(of.low), "middle": _rounded(of.middle), "high": _rounded(of.high), "level": 0.9}


def focus_json(
    history: History,
    focus: Focus,
    plan: Plan,
    effect: Effect | str | None = None,
    tested: Sequence[Tested] = (),
    choice: Choice | None = None,
    putting: Putting | None = None,
) -> dict[str, Any]:
    """Return the published JSON of `focus --json`, plain types only."""

    def window(w: Any) -> dict[str, Any]:
        return {"rounds": w.rounds, "misses": w.misses, "marked": w.marked, "rate": _interval(w.interval)}

    causes = plan.about.causes
    return {
        "schema": 1,
        "rounds": focus.rounds,
        "focus": {
            "phase": focus.phase,
            "p": _rounded(focus.p),
            "level": focus.level,
            "provisional": focus.provisional,
            "by_count": focus.by_count,
            "by_rate": focus.by_rate,
            "says": focus.disagreement,
            "more_rounds": focus.more_rounds,
            "at_stake": _rounded(focus.at_stake),
        },
        "marks": {
            "only_misses_rounds": int(focus.marks.only_misses.sum()),
            "share_unmarked": _rounded(focus.share_unmarked),
            "p_coloured_putts": _rounded(focus.marks.p_coloured),
        },
        "phases": [
            {
                "phase": p.phase,
                "last": window(p.last),
                "recent": window(p.recent),
                "all": window(p.all),
                "misses_a_round": _rounded(p.misses_a_round),
                "strokes_a_miss": _interval(p.cost),
                "strokes_a_round": _interval(p.strokes_a_round),
                "p_highest_rate": _rounded(p.p_highest_rate),
                "p_costs_most": _rounded(p.p_costs_most),
            }
            for p in focus.phases
        ],
        "next": None if choice is None else _choice_json(choice),
        "causes": {
            "notes": causes.notes,
            "level": causes.level,
            "suggestion": causes.suggestion,
            "more_rounds": causes.more_rounds,
            "causes": [
                {"id": c.id, "count": c.count, "share": _interval(c.share), "p_leads": _rounded(c.p_leads)}
                for c in causes.causes
            ],
            "ways": [{"id": w.id, "count": w.count, "p_leads": _rounded(w.p_leads)} for w in causes.ways],
        },
        "plan": {
            "minutes": plan.minutes,
            "cue": plan.cue,
            "steps": [
                {
                    "box": s.box,
                    "minutes": s.minutes,
                    "drill": s.drill.id if s.drill else None,
                    "sets": s.sets,
                    "tries": s.tries,
                }
                for s in plan.steps
            ],
            "aim": {"count": plan.aim.count, "of": plan.aim.of, "counts": plan.aim.counts},
            "cautions": list(plan.cautions),
            "notes": list(plan.notes),
        },
        "remarks": list(focus.remarks),
        "effect": _effect_json(effect),
        "practice": [
            {
                "day": t.day.isoformat() if t.day else None,
                "drill": t.drill,
                "made": t.made,
                "tries": t.tries,
                "rate": _interval(t.rate),
            }
            for t in tested
        ],
        "ladders": [] if putting is None else _ladders_json(putting),
    }


def _ladders_json(putting: Putting) -> list[dict[str, Any]]:
    """Putts of practice by distance, and what the curve expects from there in a round."""
    return [
        {
            "distance_m": metres,
            "made": rung.holed_count,
            "tries": rung.tries,
            "rate": _interval(rung.holed),
            "expected_in_a_round": None if rung.expected is None else _rounded(rung.expected),
        }
        for metres, rung in zip(putting.practice_m, putting.practice, strict=True)
    ]


def _choice_json(choice: Choice) -> dict[str, Any]:
    from shortpencil.scan.practice.choice import why_next

    return {
        "phase": choice.phase,
        "costs_most": choice.costs_most,
        "says": " ".join(why_next(choice)),
        "phases": [
            {
                "phase": e.phase,
                "sessions": e.sessions,
                "saves_a_round": _interval(e.saves),
                "share_left": _rounded(e.left),
                "p_saves_most": _rounded(e.p_best),
            }
            for e in choice.phases
        ],
        "ahead": list(choice.ahead),
        "p_steady": _rounded(choice.p_steady),
    }


def _effect_json(effect: Effect | str | None) -> dict[str, Any] | None:
    if effect is None:
        return None
    if isinstance(effect, str):
        return {"says": effect}

    def side(s: Any) -> dict[str, Any]:
        return {"rounds": s.rounds, "misses": s.misses, "marked": s.throws, "rate": _interval(s.rate)}

    return {
        "phase": effect.phase,
        "since": effect.since.isoformat(),
        "helped": effect.helped,
        "before": side(effect.before),
        "after": side(effect.after),
        "rounds_left_out": effect.left_out,
        "change": _interval(effect.change),
        "p_fell": _rounded(effect.p_fell),
        "others_change": _interval(effect.others_change),
        "net_change": _interval(effect.net_change),
        "p_net_fell": _rounded(effect.p_net_fell),
        "throws_needed": effect.throws_needed,
    }


def season_json(season: Season) -> dict[str, Any]:
    """Return the published JSON of `season --json`, plain types only."""
    from shortpencil.scan.practice.season import changed_sentences

    phases = season.phases
    return {
        "schema": 1,
        "from": season.first.isoformat(),
        "to": season.last.isoformat(),
        "rounds": season.rounds,
        "aim": season.aim,
        "costs_most": season.choice.costs_most,
        "next": season.choice.phase,
        "months": [
            {
                "month": m.first.isoformat()[:7],
                "rounds": m.rounds,
                "missed": dict(
                    zip(phases, (None if r is None else round(r.middle, 4) for r in m.rates), strict=True)
                ),
                "sessions": dict(zip(phases, m.sessions, strict=True)),
                "costs_most": m.costs_most,
            }
            for m in season.months
        ],
        "helped": {
            "verdict": season.judged.verdict,
            "p": round(season.judged.p, 4),
            "p_beyond": None if season.judged.p_beyond is None else round(season.judged.p_beyond, 4),
        },
        "changed": [
            {"phase": h.phase, "sessions": h.sessions, "verdict": h.verdict, "p": _rounded(h.p)}
            for h in season.judged.phases
        ],
        "says": changed_sentences(season),
        "tests": [
            {"day": t.day.isoformat(), "phase": phases[t.phase], "made": t.made, "tries": t.tries}
            for t in season.tests
        ],
        "weeks": [list(week) for week in season.weeks],
    }
