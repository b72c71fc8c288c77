"""`pipeline stack`: what an interface's gap comes to, by every method."""

from __future__ import annotations

import datetime as dt
import difflib
from pathlib import Path

import click

from pipeline.cli.options import add_workspace_options, show_lines, take_parts, take_workspace
from pipeline.cli.program import EXIT_CLEAN, EXIT_FINDINGS


@click.command("stack")
@click.argument("part")
@click.argument("interface", required=False)
@add_workspace_options
def command(part: str, interface: str | None, workspace: Path | None, today: dt.date | None) -> int:
    """Show the stack of INTERFACE of PART: worst case, root-sum-square, Monte Carlo, shares, chances, worked steps.

    Without INTERFACE all that have a stack are shown. Exit code 1: a gap leaves its limits by every method, or cannot
    be predicted.
    """
    from pipeline.fit.stack import StackVerdict
    from pipeline.views.stacks import reckon_stack, render_stack

    portfolio, numbers = take_parts(take_workspace(workspace), today, (part,))
    file = portfolio.parts[numbers[0]]
    known = list(file.part.interfaces)
    if interface is not None and interface not in known:
        close = difflib.get_close_matches(interface, known, n=1)
        hint = f" Did you mean {close[0]}?" if close else ""
        raise click.UsageError(f"{part} has no interface {interface!r}; it has {', '.join(known) or 'none yet'}.{hint}")
    chosen = [interface] if interface else [key for key, entry in file.part.interfaces.items() if entry.stack]
    if not chosen:
        click.echo(f"No interface of {part} has a stack: list its links under `stack:` of the interface.")
        return EXIT_CLEAN
    stacks = [reckon_stack(file, key) for key in chosen]
    for number, stack in enumerate(stacks):
        show_lines(["", *render_stack(stack)] if number else render_stack(stack))
    bad = any(stack.result is None or stack.result.verdict is StackVerdict.NOT_HELD for stack in stacks)
    return EXIT_FINDINGS if bad else EXIT_CLEAN
