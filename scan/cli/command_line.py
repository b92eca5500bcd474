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

COLUMNS = 80  # of a terminal, whatever it says of itself: what is written in so many fits everywhere


class Help(argparse.HelpFormatter):
    """Help that fits into 80 columns on every machine, also where the terminal is wider."""

    def __init__(self, prog: str, **how: Any) -> None:
        super().__init__(prog, max_help_position=26, width=COLUMNS - 1, **how)


class CommandParser(argparse.ArgumentParser):
    """A parser with the options that every command has."""

    def __init__(self, **how: Any) -> None:
        how.setdefault("formatter_class", Help)
        super().__init__(**{**how, "allow_abbrev": False})
        # At the program and at each command; no defaults, as the later would undo the former.
        talk = self.add_mutually_exclusive_group()
        talk.add_argument(
            "-q",
            "--quiet",
            action="store_true",
            default=argparse.SUPPRESS,
            help="say nothing but results and errors",
        )
        talk.add_argument(
            "-v",
            "--verbose",
            action="store_true",
            default=argparse.SUPPRESS,
            help="also say which files are used, how long it took, and where an error arose",
        )

    def error(self, message: str) -> NoReturn:
        """Say what is wrong, what was probably meant, and where help is; exit with 2."""
        meant = _meant(message)
        self.print_usage(sys.stderr)
        self.exit(2, f"{self.prog}: error: {meant or message}\n{self.prog} --help tells more.\n")


class Version(argparse.Action):
    """Print the version and end; looked up only when somebody asks."""

    def __init__(self, option_strings: Sequence[str], dest: str, **how: Any) -> None:
        super().__init__(
            option_strings, argparse.SUPPRESS, nargs=0, default=argparse.SUPPRESS, help="print the version"
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
        return "unknown (not installed)"


def in_full(argv: Sequence[str]) -> list[str]:
    """Return the arguments with `help COMMAND`, which many type first, as `COMMAND --help`."""
    words = list(argv)
    return [*words[1:2], "--help"] if words[:1] == ["help"] else words


def _meant(message: str) -> str | None:
    """Return a wrong choice in fewer words, with the one that was probably meant; None for other errors."""
    found = re.fullmatch(r"argument (\S+): invalid choice: '(.*)' \(choose from (.*)\)", message, re.DOTALL)
    if found is None:
        return None
    import difflib

    name, given, listed = found.groups()
    choices = [word.strip().strip("'") for word in listed.split(",")]
    near = difflib.get_close_matches(given, choices, 1)
    tip = f" Did you mean {near[0]}?" if near else ""
    return f"{name}: expected one of {', '.join(choices)}; found {given!r}.{tip}"
