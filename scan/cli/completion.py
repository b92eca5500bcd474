"""The command `completion`: what a shell needs to complete commands, options and their values.

shtab (https://github.com/tqdm/shtab) makes the scripts from the parser itself, so that they know every
option there is; a script holds them all, and completing starts no program.
"""

from __future__ import annotations

import argparse

from shortpencil.scan.language import _

SHELLS = ("bash", "zsh", "tcsh")


def add_to(commands: argparse._SubParsersAction[argparse.ArgumentParser]) -> None:
    """Add the command `completion`."""
    parser = commands.add_parser(
        "completion",
        help=_("print a script that completes commands and options in your shell"),
        description=_(
            "Print a completion script. bash: put it into "
            "~/.local/share/bash-completion/completions/shortpencil; zsh: into a folder of $fpath, as "
            "_shortpencil; tcsh: into /etc/profile.d/shortpencil.completion.csh. Then open a new shell."
        ),
        epilog=_("Example: shortpencil completion bash"),
    )
    parser.add_argument("shell", choices=SHELLS, help=_("the shell you use"))
    parser.set_defaults(run=run_completion)


def run_completion(args: argparse.Namespace) -> int:
    """Print the script."""
    import shtab

    from shortpencil.scan.cli.main import build_parser

    parser = build_parser()
    _complete_files(parser, shtab.FILE, shtab.DIRECTORY)
    print(shtab.complete(parser, shell=args.shell))
    return 0


def _complete_files(parser: argparse.ArgumentParser, file: object, folder: object) -> None:
    """Let every argument that names a file or a folder complete as one."""
    for action in parser._actions:
        if isinstance(action, argparse._SubParsersAction):
            for command in action.choices.values():
                _complete_files(command, file, folder)
            continue
        name = action.metavar if isinstance(action.metavar, str) else ""
        if name.startswith("FILE") or name in ("PHOTO", "FILE|URL"):
            action.complete = file  # type: ignore[attr-defined]
        elif name == "DIR":
            action.complete = folder  # type: ignore[attr-defined]
