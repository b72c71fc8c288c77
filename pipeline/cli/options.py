"""Options that several commands share."""

from __future__ import annotations

import datetime as dt
from collections.abc import Callable, Iterable
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

if TYPE_CHECKING:
    from pipeline.model.part import Part
    from pipeline.portfolio.portfolio import Portfolio


class DayType(click.ParamType):  # type: ignore[type-arg,unused-ignore]
    """A day written as 2026-05-20."""

    name = "day"

    def convert(self, value: Any, param: click.Parameter | None, ctx: click.Context | None) -> dt.date:
        """Turn text into a day."""
        if isinstance(value, dt.date):
            return value
        try:
            day = dt.date.fromisoformat(str(value))
        except ValueError:
            self.fail(f"{value!r} is not a day; write it as 2026-05-20", param, ctx)
        if not 1900 <= day.year < 2200:  # days around it are reckoned with, and the calendar has two ends
            self.fail(f"{value!r} is not a day that a part is made on; write it as 2026-05-20", param, ctx)
        return day


def find_workspace(start: Path) -> Path:
    """Return the workspace that a folder lies in: the nearest one upwards with projects/ and shared/."""
    for folder in (start, *start.parents):
        if (folder / "projects").is_dir() and (folder / "shared").is_dir():
            return folder
    raise click.UsageError(
        f"{start} is not in a workspace (no projects/ and shared/ here or above). "
        "Start one with `pipeline init DIR`, or name it with --workspace."
    )


def add_workspace_options(function: Callable[..., Any]) -> Callable[..., Any]:
    """Add --workspace and --on."""
    function = click.option(
        "--on", "today", type=DayType(), metavar="DAY", help="Speak of this day instead of today (2026-05-20)."
    )(function)
    return click.option(
        "--workspace",
        "-w",
        type=click.Path(exists=True, file_okay=False, path_type=Path),
        default=None,
        help="Folder with projects/ and shared/; the one around the current folder, if left out.",
    )(function)


def show_lines(lines: Iterable[str]) -> None:
    """Print lines; what a record holds can move no cursor, change no colour and turn no text round."""
    from pipeline.findings.finding import escape_hidden

    for line in lines:
        click.echo(escape_hidden(line))


def take_workspace(workspace: Path | None) -> Path:
    """Return the workspace that was named, or the one around the current folder."""
    return find_workspace((workspace or Path.cwd()).resolve())


def take_parts(root: Path, today: dt.date | None, parts: tuple[str, ...]) -> tuple[Portfolio, list[str]]:
    """Read the workspace and return it with the numbers that were named, or all of them.

    A part that was named and cannot be read is told with its findings, and the command ends with code 1.
    """
    import difflib

    from pipeline.findings.report import render_text
    from pipeline.portfolio.portfolio import build_portfolio
    from pipeline.reading.workspace import find_record_folders

    portfolio = build_portfolio(root, today)
    if portfolio.workspace is None:
        click.echo(render_text(portfolio.findings), err=True)
        click.echo("The catalogues in shared/ cannot be used; mend them first.", err=True)
        raise click.exceptions.Exit(1)
    for part in parts:
        if part in portfolio.parts:
            continue
        if part in find_record_folders(root):
            click.echo(render_text([f for f in portfolio.findings if f.record == part]), err=True)
            click.echo(f"{part} cannot be used until these are mended.", err=True)
            raise click.exceptions.Exit(1)
        close = difflib.get_close_matches(part, portfolio.parts, n=1)
        raise click.UsageError(f"There is no record projects/{part}." + (f" Did you mean {close[0]}?" if close else ""))
    return portfolio, list(parts) or list(portfolio.parts)


def take_feature(part: Part, feature: str) -> str:
    """Return a feature's id, or end with the ids that the part has."""
    if feature not in part.features:
        known = ", ".join(part.features) or "no features yet"
        raise click.UsageError(f"{part.part} has no feature {feature!r}; it has {known}.")
    return feature
