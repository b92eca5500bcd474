"""The program's own sentences in the reader's language; English is what the code says and the default.

`spoken` knows which language is spoken now and looks sentences up: `_`, `ngettext`, `pgettext` of gettext,
with their values. `carried` tells a sentence in another language that was made, stored or sent in English.
`numbers` writes numbers, days and lists. `asked_for` finds the language that the environment or a browser
asks for. The sentences of each language lie in a folder of its own, a file for each room; docs/languages.md
says how.
"""

from __future__ import annotations

from shortpencil.scan.language.asked_for import from_browser, from_environment
from shortpencil.scan.language.carried import carried, told
from shortpencil.scan.language.numbers import (
    day_said,
    days_told,
    first_upper,
    inside,
    listed,
    localized,
    month_said,
    noun,
    number,
    percent,
    weekday_said,
)
from shortpencil.scan.language.spoken import (
    ENGLISH,
    LANGUAGES,
    N_,
    _,
    both,
    ngettext,
    pgettext,
    speaking,
    spoken,
)

__all__ = [
    "ENGLISH",
    "LANGUAGES",
    "N_",
    "_",
    "both",
    "carried",
    "day_said",
    "days_told",
    "first_upper",
    "from_browser",
    "from_environment",
    "inside",
    "listed",
    "localized",
    "month_said",
    "ngettext",
    "noun",
    "number",
    "percent",
    "pgettext",
    "speaking",
    "spoken",
    "told",
    "weekday_said",
]
