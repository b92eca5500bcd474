"""The parser of every command: its common options, its help in 80 columns, and how it says what is wrong.

Options are never abbreviated: an abbreviation that a script uses would change its meaning, or stop to work,
with the next option that begins alike.
"""

from __future__ import annotations

import argparse
import re
import sys
from collections.abc import Sequence
from typing import Any, NoReturn

from shortpencil.scan.language import N_, _, told

COLUMNS = 80  # of a terminal, whatever it says of itself: what is written in so many fits everywhere


class Help(argparse.HelpFormatter):
    """Help that fits into 80 columns on every machine, also where the terminal is wider."""

    def __init__(self, prog: str, **how: Any) -> None:
        super().__init__(prog, max_help_position=26, width=COLUMNS - 1, **how)

    def add_usage(self, usage: Any, actions: Any, groups: Any, prefix: str | None = None) -> None:
        """Begin with "usage:" in the language that is spoken."""
        super().add_usage(usage, actions, groups, f"{_('usage:')} " if prefix is None else prefix)

    def _split_lines(self, text: str, width: int) -> list[str]:
        return wrapped(text, width)

    def _fill_text(self, text: str, width: int, indent: str) -> str:
        return "\n".join(indent + line for line in wrapped(text, width - len(indent)))


def wrapped(text: str, width: int) -> list[str]:
    """Return a text in lines; a path or an option with hyphens in it stays whole, to be copied."""
    from textwrap import wrap

    return wrap(" ".join(text.split()), width, break_on_hyphens=False, break_long_words=False)


#: What the library says of wrong usage, as Python 3.11 to 3.14 say it; carried in English, and told.
_OF_THE_LIBRARY = (
    N_("argument {name}: {message}"),
    N_("the following arguments are required: {names}"),
    N_("unrecognized arguments: {names}"),
    N_("expected one argument"),
    N_("expected at least one argument"),
    N_("not allowed with argument {other}"),
    N_("ignored explicit argument {value}"),
)


class CommandParser(argparse.ArgumentParser):
    """A parser with the options that every command has."""

    def __init__(self, **how: Any) -> None:
        how.setdefault("formatter_class", Help)
        super().__init__(**{**how, "allow_abbrev": False})
        self._positionals.title, self._optionals.title = _("positional arguments"), _("options")
        for action in self._actions:
            if isinstance(action, argparse._HelpAction):
                action.help = _("show this help message and exit")
        # At the program and at each command; no defaults, as the later would undo the former.
        talk = self.add_mutually_exclusive_group()
        talk.add_argument(
            "-q",
            "--quiet",
            action="store_true",
            default=argparse.SUPPRESS,
            help=_("say nothing but results and errors"),
        )
        talk.add_argument(
            "-v",
            "--verbose",
            action="store_true",
            default=argparse.SUPPRESS,
            help=_("also say which files are used, how long it took, and where an error arose"),
        )

    def error(self, message: str) -> NoReturn:
        """Say what is wrong, what was probably meant, and where help is; exit with 2."""
        meant = _meant(message)
        self.print_usage(sys.stderr)
        wrong = _("{program}: error: {message}", program=self.prog, message=meant or told(message))
        more = _("{program} --help tells more.", program=self.prog)
        self.exit(2, f"{wrong}\n{more}\n")


class Version(argparse.Action):
    """Print the version and end; looked up only when somebody asks."""

    def __init__(self, option_strings: Sequence[str], dest: str, **how: Any) -> None:
        super().__init__(
            option_strings, argparse.SUPPRESS, nargs=0, default=argparse.SUPPRESS, help=_("print the version")
        )

    def __call__(self, parser: argparse.ArgumentParser, *_: Any) -> None:
        print(f"shortpencil {version()}")
        parser.exit(0)


def version() -> str:
    """Return the version of the installed program, or "unknown" where it runs without being installed."""
    from importlib.metadata import PackageNotFoundError
    from importlib.metadata import version as installed

    try:
        return installed("shortpencil")
    except PackageNotFoundError:
        return _("unknown (not installed)")


def in_full(argv: Sequence[str]) -> list[str]:
    """Return the arguments with `help COMMAND`, which many type first, as `COMMAND --help`."""
    words = list(argv)
    return [*words[1:2], "--help"] if words[:1] == ["help"] else words


def _meant(message: str) -> str | None:
    """Return a wrong choice in fewer words, with the one that was probably meant, or what is no number.

    None for other errors.
    """
    number = re.fullmatch(r"argument (\S+): invalid int value: (.*)", message, re.DOTALL)
    if number is not None:
        name, given = number.groups()
        return _("{name}: expected a whole number, found {given}.", name=name, given=given)
    found = re.fullmatch(r"argument (\S+): invalid choice: '(.*)' \(choose from (.*)\)", message, re.DOTALL)
    if found is None:
        return None
    import difflib

    name, given, listed = found.groups()
    choices = [word.strip().strip("'") for word in listed.split(",")]
    near = difflib.get_close_matches(given, choices, 1)
    tip = " " + _("Did you mean {word}?", word=near[0]) if near else ""
    wanted = {"name": name, "choices": ", ".join(choices), "given": repr(given)}
    return _("{name}: expected one of {choices}; found {given}.", **wanted) + tip
