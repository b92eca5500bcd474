"""What the page tells after a photo, and in which order it asks: from the same functions as `focus`."""

from __future__ import annotations

from collections.abc import Mapping
from typing import TYPE_CHECKING

from shortpencil.scan.language import _, spoken, told

if TYPE_CHECKING:
    from shortpencil.scan.records.composing.rounds import Round
    from shortpencil.scan.records.store import Store
    from shortpencil.scan.review.after_view import AfterOf, AfterPhoto, PhaseLine, Value, WorthOf

#: What is kept of cards that were asked about lately.
_KEPT = 64


def worth_of_store(store: Store) -> WorthOf:
    """Return the function that the page orders its questions by."""
    kept: dict[tuple[str, str, tuple[str, ...]], Mapping[str, Value]] = {}

    def worth(serial: str) -> Mapping[str, Value]:
        from shortpencil.scan.practice.worth import worth_of
        from shortpencil.scan.records.composing.places import field_of_place
        from shortpencil.scan.review.after_view import Value

        played = store.round(serial)
        if played is None:
            return {}
        key = spoken(), serial, played.sources
        if key not in kept:
            found = worth_of(played, _same_player(store, played))
            if len(kept) >= _KEPT:
                kept.clear()
            fields: dict[str, Value] = {}
            for one in found:
                fields.setdefault(field_of_place(played, one.place), Value(one.total, one.says))
            kept[key] = fields
        return kept[key]

    return worth


def _same_player(store: Store, played: Round) -> list[Round]:
    """Return the latest rounds of a round's player; of a round without a name only where nobody has one."""
    from shortpencil.scan.practice.worth import LATEST_ROUNDS

    if played.player is not None:
        return list(store.rounds(played.player))[-LATEST_ROUNDS:]
    rounds = store.rounds()
    return [] if any(one.player for one in rounds) else list(rounds)[-LATEST_ROUNDS:]


def after_of_store(store: Store) -> AfterOf:
    """Return the function that tells of a card right after its photo."""

    def after(serial: str) -> AfterPhoto | None:
        from shortpencil.scan.review.after_view import AfterPhoto

        played = store.round(serial)
        if played is None:
            return None
        focus, says = _focus(store, played)
        thing = played.notes.get("resolve")
        picture = store.picture(serial, "resolve") is not None
        return AfterPhoto(
            phases=_lines(played),
            thing=None if thing == "see the picture" else thing,
            thing_picture="resolve" if picture and not thing else None,
            player=played.player,
            focus=focus,
            says=says,
        )

    return after


def _lines(played: Round) -> tuple[PhaseLine, ...]:
    from shortpencil.scan.practice import words
    from shortpencil.scan.records.composing.tidy import misses
    from shortpencil.scan.review.after_view import PhaseLine

    def doubtful(phase: str) -> int:
        throws = [throw for hole in played.holes for throw in (*hole.throws, *hole.maybe)]
        return sum(throw.phase == phase and throw.execution.status != "known" for throw in throws)

    return tuple(
        PhaseLine(words.MANY[phase], misses(played, phase), doubtful(phase)) for phase in played.phase_ids
    )


def _focus(store: Store, played: Round) -> tuple[str, tuple[str, ...]]:
    """Return the focus in a few words, and what is to be known of it."""
    from shortpencil.forms.errors import InputError
    from shortpencil.scan.advice import Asked, advise
    from shortpencil.scan.practice import words

    players = {line.player for line in store.summaries() if line.player}
    if played.player is None and players:
        says = _(
            "There are cards of {players} here. This card waits for a name.",
            players=words.listing(sorted(players)),
        )
        return _("Not in anybody's focus yet"), (says,)
    try:
        found = advise(store, Asked(played.player))
    except InputError as error:
        return _("No focus yet"), (told(str(error)),)
    if isinstance(found, str):
        return _("No focus yet"), (told(found),)
    focus = found.focus
    lead = focus.causes.leading
    said = [focus.sure[0].upper() + focus.sure[1:] + "."]
    if lead is not None:
        said.append(_("Noted most often: {cause} ({n} times).", cause=lead.words, n=lead.count))
    return _("Your focus: {phase}", phase=words.MANY[focus.phase]), tuple(said)
