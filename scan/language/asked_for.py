"""Which language somebody asks for: the environment of a command, or the header of a browser."""

from __future__ import annotations

from collections.abc import Mapping

from shortpencil.scan.language.spoken import ENGLISH, LANGUAGES

OWN = "SHORTPENCIL_LANGUAGE"


def from_environment(environment: Mapping[str, str]) -> str:
    """Return the language that variables of the environment ask for.

    SHORTPENCIL_LANGUAGE goes over the usual ones, which are read as GNU gettext does: the locale is the first
    of LC_ALL, LC_MESSAGES and LANG that is set, and LANGUAGE, a list, goes over it but for the locale "C".

    References
    ----------
    POSIX.1-2024, Base Definitions, 8.2; GNU gettext manual, 2.3.2 "Locale Environment Variables" and 2.3.3.
    """
    own = environment.get(OWN)
    if own:
        return _first_known([own]) or ENGLISH
    names = ("LC_ALL", "LC_MESSAGES", "LANG")
    locale = next((environment[name] for name in names if environment.get(name)), "C")
    if _code(locale) in ("c", "posix"):
        return ENGLISH
    return _first_known([*environment.get("LANGUAGE", "").split(":"), locale]) or ENGLISH


def from_browser(accepted: str) -> str | None:
    """Return the language of ours that a browser's Accept-Language puts first; None where it names none.

    References
    ----------
    RFC 9110, 12.5.4 and 12.4.2 (weights); RFC 4647, 3.4 (lookup: "de-AT" is served by "de").
    """
    wanted: list[tuple[float, str]] = []
    for part in accepted.split(",")[:20]:  # no browser lists more; others may send anything
        name, *rest = (word.strip() for word in part.split(";"))
        weight = next((word[2:] for word in rest if word.startswith("q=")), "1")
        try:
            q = float(weight)
        except ValueError:
            continue
        if q > 0:
            wanted.append((-q, name))
    wanted.sort(key=lambda one: one[0])  # stable: of equal weights, the first
    return _first_known([name for _q, name in wanted])


def _first_known(names: list[str]) -> str | None:
    return next((code for code in map(_code, names) if code in LANGUAGES), None)


def _code(name: str) -> str:
    """Return "de" of "de", "de_AT.UTF-8", "de-CH" and "de@euro"."""
    for mark in "_-.@":
        name = name.partition(mark)[0]
    return name.strip().lower()
