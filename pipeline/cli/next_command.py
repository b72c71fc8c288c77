"""`pipeline next`: the shortest way to the next gate, for one part, one engineer, or all."""

from __future__ import annotations

import datetime as dt
from pathlib import Path
from typing import TYPE_CHECKING

import click

from pipeline.cli.options import add_workspace_options, show_lines, take_parts, take_workspace

if TYPE_CHECKING:
    from pipeline.portfolio.portfolio import Portfolio


@click.command("next")
@click.argument("parts", nargs=-1, metavar="[PART]...")
@add_workspace_options
@click.option("--engineer", "-e", metavar="ID", help="Only the parts of this engineer (an id of shared/people.yaml).")
@click.option("--mine", is_flag=True, help="Only your parts: the e-mail of git, looked up in shared/people.yaml.")
@click.option("--dates", is_flag=True, help="Also when each part is likely to be released, with the odds.")
@click.option("--limit", default=3, show_default=True, type=click.IntRange(1, 100), help="Most steps shown a part.")
def command(
    parts: tuple[str, ...],
    workspace: Path | None,
    today: dt.date | None,
    engineer: str | None,
    mine: bool,
    dates: bool,
    limit: int,
) -> int:
    """Say what is missing for the next gate, and what would put it there.

    Hold calls come first; then whatever opens the most gates for the least money: what is ready for a decision costs
    nothing. Costs are the shop's own figures for such work. With --dates the remaining stages of all parts are
    simulated, which takes some seconds where no site was built since a day in the records changed.
    """
    from pipeline.views.next_steps import build_next_lines

    root = take_workspace(workspace)
    portfolio, numbers = take_parts(root, today, parts)
    people = portfolio.workspace.catalogues.people.people if portfolio.workspace else {}
    if engineer is not None and engineer not in people:
        raise click.UsageError(f"There is no person {engineer!r}; shared/people.yaml has {', '.join(sorted(people))}.")
    if mine:
        engineer = _find_me(root, portfolio, engineer)
    lines = build_next_lines(portfolio, numbers, engineer, limit)
    if dates and lines:
        from pipeline.portfolio.outlook import look_out
        from pipeline.views.review_dates import word_part_dates, word_shop_trust

        portfolio = look_out(portfolio, root)
        lines = build_next_lines(portfolio, numbers, engineer, limit, word_part_dates)
        lines.append(word_shop_trust(portfolio))
    show_lines(lines)
    if not lines:
        click.echo("Nothing to do: every part looked at is released, dropped or waits for nobody here.")
    return 0


def _find_me(root: Path, portfolio: Portfolio, engineer: str | None) -> str:
    """Return the person at this machine, or end with what is missing to know."""
    from pipeline.history.user import read_user_email
    from pipeline.views.bench import find_person

    if engineer is not None:
        raise click.UsageError("--mine and --engineer exclude each other.")
    email = read_user_email(root)
    if email is None:
        raise click.UsageError(
            "git knows no e-mail address here; set it with `git config user.email`, or use --engineer."
        )
    workspace = portfolio.workspace
    found = None if workspace is None else find_person(workspace.catalogues, email)
    if found is None:
        raise click.UsageError(
            f"Nobody in shared/people.yaml has the e-mail {email} (`emails: [...]`); use --engineer."
        )
    return found
