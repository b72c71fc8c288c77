"""The command group: commands are imported only when they are called, so that help is quick."""

from __future__ import annotations

import contextlib
import importlib
import io
import os
import sys
import traceback
from typing import NoReturn, TextIO, cast

import click

import pipeline
from pipeline.cli.plain_stream import PlainStream

COMMANDS = {
    "application": "Add an application to a record: a vehicle, a body and years that it fits too.",
    "attach": "Attach evidence: copied or referred to, with its hash, and what it is evidence of.",
    "build": "Build the portfolio site.",
    "change": "Record an engineering change: where it was found, what it cost.",
    "case": "What a part is worth, how sure that is, and what drives it.",
    "check": "Check every record: what is wrong, where, and how to mend it.",
    "decide": "Decide a gate: go, rework, hold or drop.",
    "demo": "Write a workspace of invented parts with its history, and build its site.",
    "doctor": "Look at git, the workspace, versions and fonts: what is missing.",
    "explain": "Explain a rule: what it wants, why, how to mend it, with examples.",
    "export": "Write all parts as a spreadsheet.",
    "feature": "Add a feature to a record: nominal, limits, unit, critical, likely error.",
    "fit": "Record a fit check on a vehicle.",
    "hook": "Check staged records before each commit.",
    "impact": "What a change to features of a part drags along, and what it costs.",
    "import": "Read parts from a spreadsheet.",
    "interface": "Add an interface to a record: what it meets, its gap, what decides it.",
    "init": "Start an empty workspace.",
    "ladder": "What one change costs, by the stage at which it is found.",
    "new": "Start the record of a part.",
    "loop": "What is probably still wrong with a part, and whether one more loop pays.",
    "measure": "Fit a file of points or readings: values with uncertainty and verdict, and the entry to record.",
    "next": "What to do next, for one part, one engineer, or all.",
    "plan": "Which tools to release in which quarter with this cash, and why.",
    "quote": "Record a supplier's offer.",
    "release": "Release the money for tooling.",
    "review": "What moved since the last review; --close records that it took place.",
    "revise": "Issue a revision of the model.",
    "quotes": "The quotes of a part on one footing, or all that need the buyer.",
    "schema": "Write JSON Schemas, so that an editor completes records.",
    "serve": "Serve the site on this machine; rebuild it, and show open pages anew, when a record changes.",
    "since": "What moved since a day, a commit, or the last review.",
    "tool": "A tool moves on: ordered, cutting, on trial, first article, accepted.",
    "waive": "Set a requirement aside, with a reason, a name and an end.",
    "stack": "The gap of an interface: worst case, root-sum-square, Monte Carlo, shares, chances, steps.",
}
"""Every command and its line of help. The module `pipeline.cli.<name>` holds it as `command`."""

EXIT_CLEAN, EXIT_FINDINGS, EXIT_USAGE, EXIT_BUG = 0, 1, 2, 3


class LazyGroup(click.Group):
    """A group that imports a command's module when the command is called."""

    def list_commands(self, ctx: click.Context) -> list[str]:
        """Return the names of all commands."""
        del ctx
        return sorted(COMMANDS)

    def get_command(self, ctx: click.Context, cmd_name: str) -> click.Command | None:
        """Return a command, or None where there is none of that name."""
        del ctx
        if cmd_name not in COMMANDS:
            return None
        module = importlib.import_module(f"pipeline.cli.{cmd_name.replace('-', '_')}_command")
        command: click.Command = module.command
        return command

    def format_commands(self, ctx: click.Context, formatter: click.HelpFormatter) -> None:
        """Write the list of commands without importing any of them."""
        del ctx
        with formatter.section("Commands"):
            formatter.write_dl(sorted(COMMANDS.items()))

    def resolve_command(
        self, ctx: click.Context, args: list[str]
    ) -> tuple[str | None, click.Command | None, list[str]]:
        """Find a command; a misspelt one is answered with the nearest."""
        if args and args[0] not in COMMANDS and not args[0].startswith("-"):
            import difflib

            close = difflib.get_close_matches(args[0], COMMANDS, n=1)
            hint = f" Did you mean `{close[0]}`?" if close else " `pipeline --help` lists them."
            raise click.UsageError(f"There is no command `{args[0]}`.{hint}", ctx)
        return super().resolve_command(ctx, args)


@click.group(cls=LazyGroup, context_settings={"help_option_names": ["-h", "--help"]})
@click.version_option(pipeline.__version__, "--version", prog_name="pipeline")
def group() -> None:
    """Reproduction parts for old vehicles: gates proven from evidence, the cost of a change, one portfolio site.

    Run it in a workspace: a folder with projects/ and shared/.
    """


def run() -> NoReturn:
    """Run the command line and leave with 0 (clean), 1 (findings), 2 (wrong usage) or 3 (our bug)."""
    streams = sys.stdout, sys.stderr
    for stream in streams:
        if isinstance(stream, io.TextIOWrapper):  # a terminal or a pipe that lacks a letter gets it written out
            stream.reconfigure(errors="backslashreplace")
    sys.stdout, sys.stderr = (cast("TextIO", PlainStream(stream)) for stream in streams)
    try:
        _run()
    finally:
        sys.stdout, sys.stderr = streams


def _run() -> NoReturn:
    try:
        status = group.main(prog_name="pipeline", standalone_mode=False)
        sys.exit(status if isinstance(status, int) else EXIT_CLEAN)
    except click.ClickException as error:
        error.show()
        sys.exit(EXIT_USAGE)
    except (click.Abort, KeyboardInterrupt):
        click.echo("Stopped. Nothing was left half written.", err=True)
        sys.exit(130)
    except BrokenPipeError:
        sys.stderr.close()
        sys.exit(EXIT_CLEAN)
    except OSError as error:  # the disk, the rights or the network: nothing that the program did wrong
        where = "" if error.filename is None else f": {error.filename}"
        with contextlib.suppress(OSError):
            click.echo(f"Error: {error.strerror or error}{where}", err=True)
        sys.exit(EXIT_USAGE)
    except Exception as error:
        _explain_bug(error)
        sys.exit(EXIT_BUG)


def _explain_bug(error: Exception) -> None:
    click.echo(f"This is a mistake in the program, not in your records: {type(error).__name__}: {error}", err=True)
    if os.environ.get("PIPELINE_TRACEBACK"):
        traceback.print_exc()
        return
    place = f"Program {pipeline.__version__}, Python {sys.version.split()[0]}, {sys.platform}."
    click.echo("Run the command again with PIPELINE_TRACEBACK=1 set, and send what it prints, with the", err=True)
    click.echo(f"record that shows it. {place}", err=True)
