"""Players in a list: how many rounds, when last, how many misses a round of late, what waits. Pure."""

from __future__ import annotations

from collections.abc import Collection, Sequence
from dataclasses import dataclass
from datetime import date

from shortpencil.forms.rules import PHASES, many_said
from shortpencil.scan.records.storing.summary import Summary

LATE = 5  # rounds that "of late" speaks of


@dataclass(frozen=True, slots=True)
class PlayerLine:
    """One player in a line; `misses` are those of each phase a round, over the latest rounds."""

    name: str
    rounds: int
    last: date | None
    misses: tuple[float, ...]
    late: int
    waits: int
    phases: tuple[str, ...] = PHASES

    @property
    def missed(self) -> tuple[tuple[float, str], ...]:
        """Misses a round of late of each phase, with its name as "putts"."""
        return tuple((mean, many_said(name)) for mean, name in zip(self.misses, self.phases, strict=True))

    @property
    def most(self) -> str:
        """The phase with most misses of late, as "putts"; "" without any or where two are level."""
        most = max(self.misses, default=0.0)
        leaders = [phase for phase, mean in zip(self.phases, self.misses, strict=True) if mean == most > 0]
        return many_said(leaders[0]) if len(leaders) == 1 else ""


def player_lines(lines: Sequence[Summary], also: Collection[str] = ()) -> list[PlayerLine]:
    """Return every player by name; `also` are names known from printed cards, who may have no round yet."""
    by_name: dict[str, list[Summary]] = {name: [] for name in also}
    for line in lines:
        if line.player:
            by_name.setdefault(line.player, []).append(line)
    return [_line(name, by_name[name]) for name in sorted(by_name, key=str.casefold)]


def _line(name: str, rounds: Sequence[Summary]) -> PlayerLine:
    phases = rounds[-1].phases if rounds else PHASES  # one table never mixes games: the latest round's
    late = [line for line in rounds if line.phases == phases][-LATE:]
    return PlayerLine(
        name,
        len(rounds),
        max((line.played_on for line in rounds if line.played_on), default=None),
        tuple(sum(line.misses_of(phase) for line in late) / max(len(late), 1) for phase in phases),
        len(late),
        sum(line.waits for line in rounds),
        phases,
    )
