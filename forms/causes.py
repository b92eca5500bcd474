"""What the built-in cards call the causes of a miss, in every language; others have words of their own."""

from collections.abc import Iterable, Mapping

from shortpencil.forms.form import Cause
from shortpencil.scan.language import LANGUAGES, N_, _, speaking

#: Causes of the built-in cards as printed in English; in another language its card prints the translation.
CAUSES: Mapping[str, str] = {
    "early": N_("released early"),
    "late": N_("released late, grip held"),
    "nose": N_("nose angle or height"),
    "tilt": N_("tilt: hyzer, flat, anhyzer"),
    "wobble": N_("wobble, off axis"),
    "pace": N_("too hard or too soft"),
    "rushed": N_("rushed, no routine"),
    "balance": N_("balance or footing"),
    "choice": N_("choice: line or disc"),
    "other": N_("other, don't know"),
}


def causes_said() -> dict[str, str]:
    """Return the causes of the built-in cards in the language that is spoken."""
    return {cause: _(says) for cause, says in CAUSES.items()}


def causes_of_card(causes: Iterable[Cause]) -> dict[str, str]:
    """Return the causes of a card by id: as printed, the built-in cards' in the language that is spoken."""
    return {cause.id: _(CAUSES[cause.id]) if _is_built_in(cause) else cause.label for cause in causes}


def _is_built_in(cause: Cause) -> bool:
    if cause.id not in CAUSES:
        return False
    for language in LANGUAGES:
        with speaking(language):
            if cause.label == _(CAUSES[cause.id]):
                return True
    return False
