"""The command line: one short module a command, imported when it is called."""

from __future__ import annotations

import atexit
import contextlib
import functools
import importlib
import os
import signal
import sys
import threading
from collections.abc import Callable, Sequence
from pathlib import Path
from typing import Any

import typer
import typer.core
import typer.main

#: Every command: its module here, and what it does in one line.
COMMANDS: dict[str, tuple[str, str]] = {
    "new": ("new", "Begin a shoot: where, when, who, with what; a file that plans."),
    "kit": ("kit", "The bag: what this crew owns, kept for all shoots; and the catalogue in words."),
    "plan": ("plan", "Plan a shoot: carriers, spares, powers, each link proved."),
    "check": ("check", "Read a shoot and judge it, without planning."),
    "hit": ("hit", "Somebody is on a carrier: plan again with the fewest moves, and how to switch."),
    "event": ("event", "Many crews' shoots in, one plan out: who fits, who does not, what would help."),
    "hunt": ("hunt", "Something is broken on a carrier: who is in the way, and what to ask next."),
    "why": ("why", "The ledger of a link, or why it did not get a frequency."),
    "reach": ("reach", "Will it reach: margins along every route, best places, the ground as a picture."),
    "walk": ("walk", "Learn a site's reach from a walk test."),
    "fit": ("fit", "How many more links of each type would fit."),
    "sweep": ("sweep", "What is on the air in sweep files."),
    "rules": ("rules", "What may be used in a region, with sources."),
    "listen": ("listen", "Levels, faults and low cut of recordings."),
    "day": ("day", "The schedule: setting up, battery changes, what to pack."),
    "sheets": ("sheets", "PDF, CSV and calendar files for everybody."),
    "apply": ("apply", "What an application for a permit asks, and what stands on none yet."),
    "neighbours": ("neighbours", "Swap carriers with other crews, and check them against the plan."),
    "simulate": ("simulate", "Play a shoot as receiver readings, with seeded faults."),
    "diagnose": ("diagnose", "What went wrong, when and why, from receivers' logs."),
    "replay": ("replay", "Play a receiver's log again to the page Live."),
    "schema": ("schema", "The JSON Schema of the shoot or of the plan."),
    "serve": ("serve", "The web pages of a shoot, on loopback unless --lan."),
    "mend": ("mend", "Save what is whole of a damaged job into a new one."),
    "demo": ("demo", "Plan the built-in shoot, have one carrier hit, and serve its pages."),
}


#: Options by which commands are told where to write.
WRITES = frozenset({"out", "export", "truth", "picture", "write_shoot"})
#: How the system tells a program to end, besides Ctrl-C.
ENDS = (signal.SIGTERM, signal.SIGHUP)
#: Exit status of a command that was interrupted: 128 and SIGINT.
STOPPED = 130


class Commands(typer.core.TyperGroup):
    """The commands by name; a command's module is imported when the command is asked for."""

    def list_commands(self, _context: Any) -> list[str]:
        """All names, in the order of a job."""
        return list(COMMANDS)

    def get_command(self, _context: Any, cmd_name: str) -> Any:
        """The command of that name; None where there is none."""
        if cmd_name not in COMMANDS:
            return None
        module, short = COMMANDS[cmd_name]
        run = _sparing(importlib.import_module(f"linkwright.cli.{module}").run)
        app = typer.Typer(add_completion=False, rich_markup_mode=None)
        app.command(cmd_name, short_help=short)(run)
        return typer.main.get_command(app)

    def format_commands(self, _context: Any, formatter: Any) -> None:
        """The list for --help, without importing anything."""
        with formatter.section("Commands"):
            formatter.write_dl([(name, short) for name, (_, short) in COMMANDS.items()])


def _sparing(run: Callable[..., None]) -> Callable[..., None]:
    """The command, which refuses before it begins to write over a file that it was given to read."""

    @functools.wraps(run)
    def careful(**given: Any) -> None:
        for option in WRITES & given.keys():
            for other, value in given.items():
                for name in value if isinstance(value, list | tuple) else (value,):
                    if other != option and isinstance(name, str) and _same_file(given[option], name):
                        from linkwright.shoot.errors import InputError

                        says = "is named twice, and would be written over; expected another name"
                        raise InputError(says, path=given[option])
        run(**given)

    return careful


def _same_file(written: str | None, other: str) -> bool:
    """Whether both name one file, under whatever name."""
    if not written or written == "-":
        return False
    try:
        return Path(written).samefile(other)
    except (OSError, ValueError):
        return written == other


def version(asked: bool) -> None:
    """Print the version and leave, where it was asked for."""
    if asked:
        from linkwright import __version__

        typer.echo(f"linkwright {__version__}")
        raise typer.Exit


def build() -> Any:
    """The command line as a click command."""
    app = typer.Typer(
        cls=Commands,
        add_completion=False,
        rich_markup_mode=None,
        no_args_is_help=True,
        pretty_exceptions_enable=False,
    )

    @app.callback()
    def _linkwright(
        _version: bool = typer.Option(False, "--version", callback=version, is_eager=True, help="The version."),
        forced: bool = typer.Option(
            False, "--force", help="Write over a file of another kind, where that is meant."
        ),
    ) -> None:
        """Linkwright plans wireless microphone links, proves them and explains them.

        The licence and the regulator override the program. Predictions are estimates: listen on site.
        """
        if forced:
            from linkwright.cli.output import force

            force()

    return typer.main.get_command(app)


class Ended(BaseException):
    """The system told the program to end; what is open is closed on the way out."""

    def __init__(self, number: int) -> None:
        self.status = 128 + number


def _end(number: int, _frame: object) -> None:
    for end in ENDS:
        signal.signal(end, signal.SIG_IGN)  # once is enough: closing is not to be cut short
    raise Ended(number)


def _hear_the_end() -> None:
    """SIGTERM and a terminal that is closed end a command as Ctrl-C does. What is ignored (nohup) stays so."""
    with contextlib.suppress(ValueError):  # only the main thread may
        for end in ENDS:
            if signal.getsignal(end) == signal.SIG_DFL:
                signal.signal(end, _end)


def main(arguments: Sequence[str] | None = None) -> None:
    """Run the command line and leave with its status: 0 all is well, 1 something does not hold, 2 bad input."""
    from linkwright.shoot.errors import InputError
    from linkwright.shoot.regular import READ

    READ.clear()
    _hear_the_end()
    given = list(sys.argv[1:] if arguments is None else arguments)
    try:
        status = int(build().main(args=given, prog_name="linkwright", standalone_mode=False) or 0)
        sys.stdout.flush()
    except typer.TyperException as error:
        status = _refuse(getattr(error, "format_message", error.__str__)(), given)
    except InputError as error:
        status = _refuse(str(error), given)
    except (KeyboardInterrupt, typer.Abort):
        status = STOPPED
    except Ended as told:
        status = told.status
    except (BrokenPipeError, SystemExit) as left:
        if isinstance(left, SystemExit) and not isinstance(left.__context__, BrokenPipeError):
            raise
        # Whoever read our output has gone: nothing is left to say, and nothing to be said when Python ends.
        # (The library of the command line makes a status 1 of it, which here means that something does not hold.)
        sys.stdout = sys.stderr = Path(os.devnull).open("w", encoding="utf-8")  # noqa: SIM115
        status = 0
    if status >= STOPPED - 2:
        with contextlib.suppress(OSError):  # the terminal may be gone
            typer.echo("\nStopped; no file is half written.", err=True)
    raise SystemExit(status)


def start() -> None:
    """What the installed command does: the loops are made ready beside the command, once a version and machine."""
    from linkwright.work.compiling import prepare_beside

    if not set(sys.argv[1:]) & {"--help", "--version"}:
        prepare_beside()
    try:
        main()
    except SystemExit as left:
        if isinstance(left.code, int) and left.code >= STOPPED - 2 and threading.active_count() > 1:
            _leave(left.code)
        raise


def _leave(status: int) -> None:
    """End at once, everything that is kept being closed: a thread may still be inside the compiler, which does not
    survive that Python is taken down around it."""
    if "multiprocessing" in sys.modules:
        from multiprocessing import active_children

        for child in active_children():
            child.kill()
    atexit._run_exitfuncs()
    for stream in (sys.stdout, sys.stderr):
        with contextlib.suppress(OSError, ValueError):
            stream.flush()
    os._exit(status)


def _refuse(says: str, given: Sequence[str]) -> int:
    """Say what is wrong with the input, on standard error and, where JSON was asked for, as JSON too."""
    if "--json" in given:
        from linkwright.cli.output import print_json

        print_json({"error": says})
    typer.echo(says, err=True)
    return 2
