"""`pipeline since`: what moved since a day, a commit, or the last review."""

from __future__ import annotations

import datetime as dt
from pathlib import Path
from typing import TYPE_CHECKING

import click

from pipeline.cli.options import add_workspace_options, show_lines, take_parts, take_workspace

if TYPE_CHECKING:
    from pipeline.views.shapes_site import ReviewPage


@click.command("since")
@click.argument("point", required=False, metavar="[REV|DATE]")
@add_workspace_options
@click.option("--json", "as_json", is_flag=True, help="Answer as JSON.")
@click.option("--signatures", is_flag=True, help="Let git verify signed commits (starts gpg or ssh-keygen).")
def command(point: str | None, workspace: Path | None, today: dt.date | None, as_json: bool, signatures: bool) -> int:
    """Say what moved since REV (a commit, branch or tag) or DATE (2026-11-23, that day included); without either, since
    the last review that was closed, or one review's time ago.

    Hold calls come first; then what is ready for a decision, what was proven, went stale, was decided, set aside or ran
    out, figures with old and new, parts that came or went, and what is likely to be released next, with the odds. The
    Review page shows the same.
    """
    page = build_page(take_workspace(workspace), today, point, signatures)
    if as_json:
        from pipeline.findings.report import render_json
        from pipeline.views.review_terminal import build_review_dict

        click.echo(render_json(build_review_dict(page)))
    else:
        from pipeline.views.review_terminal import render_review

        show_lines(render_review(page))
    return 0


def build_page(root: Path, today: dt.date | None, point: str | None = None, signatures: bool = False) -> ReviewPage:
    """Return the review of a workspace; a revision that cannot be found ends the command with what would be right."""
    from pipeline.findings.finding import clean_text
    from pipeline.portfolio.outlook import find_outlook, look_out
    from pipeline.views.review_page import build_review_page

    portfolio, _ = take_parts(root, today, ())
    portfolio = look_out(portfolio, root, signatures=signatures, asked=point)
    outlook = find_outlook(portfolio)
    review = None if outlook is None else outlook.review
    if point is not None and review is not None and review.moves is None and review.since.day is None:
        told = review.conditions[-1]
        raise click.UsageError(clean_text(f"{told.message}. To mend it: {told.fix}.", 600))
    return build_review_page(portfolio)
