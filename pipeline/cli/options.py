"""Options that several commands share."""

from __future__ import annotations

import datetime as dt
from collections.abc import Callable
from pathlib import Path
from typing import Any

import click


class DayType(click.ParamType):  # type: ignore[type-arg,unused-ignore]
    """A day written as 2026-05-20."""

    name = "day"

    def convert(self, value: Any, param: click.Parameter | None, ctx: click.Context | None) -> dt.date:
        """Turn text into a day."""
        if isinstance(value, dt.date):
            return value
        try:
            return dt.date.fromisoformat(str(value))
        except ValueError:
            self.fail(f"{value!r} is not a day; write it as 2026-05-20", param, ctx)


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


def take_workspace(workspace: Path | None) -> Path:
    """Return the workspace that was named, or the one around the current folder."""
    return find_workspace((workspace or Path.cwd()).resolve())
