"""Parser, error to message and exit code; each group of commands has a file of its own beside this one.

Each such file has `add_to(commands)`, which adds its parsers and sets `run`, a function from the parsed
arguments to an exit code. Those functions import what they need when they run, so that `--help` and a command
that reads no photo start fast.
"""

from __future__ import annotations

import argparse
import os
import sys
from collections.abc import Mapping, Sequence
from importlib import import_module
from pathlib import Path

from shortpencil.forms.called import calling
from shortpencil.forms.errors import PhotoError, ShortpencilError
from shortpencil.forms.shown import whole_letters
from shortpencil.scan.cli.command_line import CommandParser, Version, in_full, version
from shortpencil.scan.language import _, from_environment, number, speaking, told
from shortpencil.scan.places import keep_private

EXIT_DONE, EXIT_ATTENTION, EXIT_WRONG = 0, 1, 2
EXIT_STOPPED = 128 + 2  # as shells say of a program that SIGINT ended


#: Which file beside this one adds which commands, in the order in which --help lists them.
GROUPS = {
    "printing": ("print",),
    "reading": ("read",),
    "review": ("review",),
    "answering": ("answer",),
    "stored": ("rounds", "export", "import"),
    "aside": ("delete", "aside"),
    "practice": ("focus",),
    "season": ("practised", "season"),
    "evening": ("evening",),
    "hand": ("hand", "forget"),
    "moving": ("backup", "restore", "check"),
    "demo": ("demo",),
    "completion": ("completion",),
}


def build_parser(command: str | None = None) -> argparse.ArgumentParser:
    """Return the whole command line as a parser; of a command that there is, only what it needs."""
    groups = [name for name, commands in GROUPS.items() if command in commands] or list(GROUPS)
    parser = CommandParser(
        prog="shortpencil",
        description=_("A paper card, a camera and a computer: what to practise next in disc golf."),
        epilog=_(
            "Begin with: shortpencil print -o card.pdf, mark it after your round, shortpencil read PHOTO. "
            "Or do it all from a page: shortpencil review. More: shortpencil COMMAND --help"
        ),
    )
    parser.add_argument("--version", action=Version)
    commands = parser.add_subparsers(dest="command", required=True, metavar="COMMAND")
    for group in groups:
        import_module(f"shortpencil.scan.cli.{group}").add_to(commands)
    return parser


def main(argv: Sequence[str] | None = None) -> int:
    """Run one command; return its exit code: 0 done, 1 needs attention, 2 wrong usage, 130 stopped."""
    from shortpencil.scan.cli.terminal import shown, talk

    with shown(), speaking(from_environment(os.environ)):
        words = in_full(sys.argv[1:] if argv is None else argv)
        parser = build_parser(words[0] if words else None)
        if not words:
            parser.print_help(sys.stderr)
            return EXIT_WRONG
        args = parser.parse_args(words)
        if getattr(args, "player", None):  # as every name is kept, however this terminal writes it
            args.player = whole_letters(args.player)
        talk(quiet="quiet" in args, for_a_program=getattr(args, "json", False))
        return _told(args) if "verbose" in args else _run(args)


def _told(args: argparse.Namespace) -> int:
    """Run a command and say which files it uses and how long it took."""
    import platform
    import time

    from shortpencil.scan.places import default_store, home

    begun = time.monotonic()
    system = f"{platform.system()} {platform.machine()}"
    python = _("Python {version} on {system}", version=platform.python_version(), system=system)
    print(f"shortpencil {version()}, {python}", file=sys.stderr)
    where = {"folder": home(), "store": shown_place(args, default_store())}
    print(_("folder: {folder}; store: {store}", **where), file=sys.stderr)
    code = _run(args)
    taken = number(time.monotonic() - begun, 2)
    print(_("exit code {code} after {seconds} s", code=code, seconds=taken), file=sys.stderr)
    return code


def shown_place(args: argparse.Namespace, default: str | Path) -> str:
    """Return the store of a command as text; a password in a URL stays out of it."""
    place = getattr(args, "store", None) or default
    if "://" not in str(place):
        return str(place)
    from shortpencil.scan.records.storing.database import database_url, store_name

    return store_name(database_url(place))


def _finish(asked: str | None) -> None:
    """Finish what was cut short, and say so."""
    from shortpencil.scan.unfinished import finish

    for found in finish(asked):
        if isinstance(found, str):
            says = _("shortpencil: erasing {player} was cut short and is finished now.", player=found)
        else:
            says = _(
                "shortpencil: what was to be erased is not yet: {error} It is tried again at the next start.",
                error=told(str(found)),
            )
        print(says, file=sys.stderr)


def _phases_called(args: argparse.Namespace) -> Mapping[str, str]:
    """Return what the store of a command calls phases of one's own; JSON has their ids, whoever asks."""
    from shortpencil.scan.cli.stored import existing_store, store_place

    if getattr(args, "json", False) or "store" not in args:
        return {}
    try:
        with existing_store(store_place(args)) as store:
            return store.phases_called()
    except ShortpencilError:
        return {}  # the command itself says what is wrong with the store


def _run(args: argparse.Namespace) -> int:
    try:
        keep_private()
        _finish(getattr(args, "store", None))
        with calling(lambda: _phases_called(args)):
            code = args.run(args)
    except PhotoError as error:
        _say(args, error)
        return EXIT_ATTENTION
    except ShortpencilError as error:
        _say(args, error)
        return EXIT_WRONG
    except BrokenPipeError:
        # Whoever reads our output has seen enough, as in `shortpencil rounds | head`.
        os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())
        return EXIT_DONE
    except MemoryError:
        says = _(
            "shortpencil: expected enough memory for this, found none left. Close other programs, or do it "
            "in smaller parts. What was stored before stays stored."
        )
        print(says, file=sys.stderr)
        return EXIT_WRONG
    except OSError as error:  # the system refuses, which is no mistake of the program
        if _on_the_way_out(error):
            return _stopped()
        from shortpencil.forms.shown import path_text

        where = f"{path_text(error.filename)}: " if isinstance(error.filename, str | bytes) else ""
        says = _("shortpencil: {where}the system refused: {why}.", where=where, why=error.strerror or error)
        print(says, file=sys.stderr)
        return EXIT_WRONG
    except KeyboardInterrupt:
        return _stopped()
    return int(code)


def _say(args: argparse.Namespace, error: ShortpencilError) -> None:
    """Print an error, and where it arose for those who want to know."""
    if "verbose" in args:
        import traceback

        traceback.print_exception(error, file=sys.stderr)
    print(f"shortpencil: {told(str(error))}", file=sys.stderr)


def _stopped() -> int:
    print(_("shortpencil: stopped. What was stored before stays stored."), file=sys.stderr)
    return EXIT_STOPPED


def _on_the_way_out(error: BaseException | None) -> bool:
    """Say whether an error came up while a stop was carried out, as of a pipe that is closed already."""
    while error is not None:
        if isinstance(error, KeyboardInterrupt):
            return True
        error = error.__context__
    return False


#: Objects that may lead to themselves are looked for when there are so many more of them. Libraries that load
#: make 60,000 that stay; with Python's own 700 (2,000 from 3.12 on) a fifth of their time went on looking.
OBJECTS_BETWEEN_LOOKS = 100_000


def _open_streams() -> None:
    """Give a standard stream that was closed, as by `>&-`, a place to go; Python has None for it.

    First of all, as the next file that is opened gets its number, and a store must not have that of a stream.
    """
    for name, mode in (("stdin", "r"), ("stdout", "w"), ("stderr", "w")):
        if getattr(sys, name) is None:
            setattr(sys, name, open(os.devnull, mode))  # noqa: SIM115 (it lives as long as the process)


def run() -> None:
    """Entry point of the console script."""
    import gc
    import signal

    _open_streams()
    gc.set_threshold(OBJECTS_BETWEEN_LOOKS, *gc.get_threshold()[1:])
    try:
        code = main()
    except KeyboardInterrupt:  # before a command began
        code = EXIT_STOPPED
    finally:
        # All is stored; an impatient second Ctrl+C ends what is left, and leaves no traceback behind.
        signal.signal(signal.SIGINT, signal.SIG_DFL)
        gc.freeze()  # else all that was loaded is looked through on the way out, a tenth of a second
    sys.exit(code)
