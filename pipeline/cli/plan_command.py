"""`pipeline plan`: which tools to release in which quarter with this cash, and why."""

from __future__ import annotations

import datetime as dt
import re
import sys
import time
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from pipeline.cli.options import add_workspace_options, show_lines, take_parts, take_workspace
from pipeline.cli.plain_stream import overwrite_line
from pipeline.cli.program import EXIT_CLEAN, EXIT_FINDINGS

if TYPE_CHECKING:
    from pipeline.portfolio.spending import Spending

EXIT_STOPPED = 130
_QUIET_S = 2.0


@click.command("plan")
@add_workspace_options
@click.option("--budget", metavar="AMOUNT", help="Another budget over all quarters, instead of the stated ones.")
@click.option("--must", multiple=True, metavar="PART[/TOOL]", help="Told to be in; may be given several times.")
@click.option(
    "--not", "must_not", multiple=True, metavar="PART[/TOOL]", help="Told to be out; may be given several times."
)
@click.option("--why", metavar="PART[/TOOL]", help="Only why this one is in or out, what it costs, how sure.")
@click.option("--all", "whole", is_flag=True, help="Every table of the page.")
@click.option("--json", "as_json", is_flag=True, help="For programs.")
@click.option("--worlds", type=click.IntRange(1, 10_000), default=None, metavar="N", help="Worlds of the sureness.")
@click.option("--seed", type=click.IntRange(0, 2**31), default=None, metavar="N", help="Seed of the worlds.")
@click.option(
    "--time-limit", type=click.FloatRange(0.1, 36_000), default=None, metavar="SECONDS", help="Most for each solve."
)
def command(
    workspace: Path | None, today: dt.date | None, budget: str | None, must: tuple[str, ...], must_not: tuple[str, ...],
    why: str | None, whole: bool, as_json: bool, worlds: int | None, seed: int | None, time_limit: float | None,
) -> int:  # fmt: skip
    """Plan the tooling spend: which tools, in which quarter, with this cash, what is just below the line and why.

    The figures are those of the page. Nothing is written to a record: money is released by `pipeline release PART`.
    Ctrl-C ends the search and shows what is solved by then. Exit code 1: there is no plan, and why.
    """
    from pipeline.portfolio.funding import Wishes

    root = take_workspace(workspace)
    portfolio, _ = take_parts(root, today, ())
    asked = _parse_budget(budget, _find_currency(portfolio))
    wishes = Wishes(must, must_not)
    _refuse_unknown(portfolio, wishes)
    spending = _solve(portfolio, root, wishes, asked, worlds, seed, time_limit)
    if spending is None:
        click.echo("No part is on record yet, so there is nothing to plan: `pipeline new` starts a record.")
        return EXIT_CLEAN
    _show(spending, why, whole, as_json)
    if not spending.study.is_complete:
        return EXIT_STOPPED
    return EXIT_CLEAN if spending.study.plan is not None else EXIT_FINDINGS


def _find_currency(portfolio: Any) -> str:
    currency: str = portfolio.workspace.catalogues.money.currency
    return currency


def _parse_budget(text: str | None, currency: str) -> float | None:
    """Return an amount typed as 50000, 50,000 or `50000 USD`."""
    if text is None:
        return None
    found = re.fullmatch(r"\s*([0-9][0-9,_ ]*(?:\.[0-9]{1,2})?)\s*([A-Za-z]{3})?\s*", text)
    if found is None:
        raise click.UsageError(f"--budget {text!r} is not an amount; write it as 50000, or 50000 {currency}.")
    if found.group(2) and found.group(2).upper() != currency:
        raise click.UsageError(
            f"--budget is in {found.group(2).upper()}, and the budgets of shared/money.yaml in {currency}."
        )
    return float(re.sub(r"[,_ ]", "", found.group(1)))


def _solve(
    portfolio: Any,
    root: Path,
    wishes: Any,
    budget: float | None,
    worlds: int | None,
    seed: int | None,
    limit: float | None,
) -> Spending | None:
    from dataclasses import replace

    from pipeline.portfolio.funding_study import USUAL
    from pipeline.portfolio.spending import plan_spending

    settings = replace(USUAL, budget=budget)
    settings = settings if worlds is None else replace(settings, worlds=worlds)
    settings = settings if seed is None else replace(settings, seed=seed)
    settings = settings if limit is None else replace(settings, time_limit_s=limit)
    progress = _Progress()
    spending = plan_spending(portfolio, root, wishes, settings, progress.tell)
    progress.end()
    return spending


class _Progress:
    """Says on the error stream how far it is, once more than two seconds have gone; over itself on a terminal."""

    def __init__(self) -> None:
        self.start, self.last, self.shown = time.monotonic(), 0.0, False

    def tell(self, what: str, done: int, total: int) -> None:
        """Report one step."""
        now = time.monotonic() - self.start
        if now < _QUIET_S or now - self.last < (0.2 if sys.stderr.isatty() else _QUIET_S):
            return
        self.last = now
        words = f"{what}: {done} of {total}, {now:.0f} s (Ctrl-C shows what is solved by then)"
        if sys.stderr.isatty():
            overwrite_line(f"{words:<79}")
        else:
            click.echo(words, err=True)
        self.shown = True

    def end(self) -> None:
        """Leave a clean line."""
        if self.shown and sys.stderr.isatty():
            overwrite_line(f"{'':<79}\r")


def _refuse_unknown(portfolio: Any, wishes: Any) -> None:
    """End with the reason for the first wish that names nothing in the plan, before anything is solved."""
    import difflib

    from pipeline.portfolio.funding import build_funding

    if not portfolio.parts or not (wishes.must or wishes.must_not):
        return
    funding = build_funding(next(iter(portfolio.parts.values())).shop, wishes)
    left_out = {one.part: one.why for one in funding.left_out} if funding is not None else {}
    for name in () if funding is None else funding.unknown:
        number = name.partition("/")[0]
        if number in left_out:
            why = f"{number} is not in the plan. {left_out[number]}"
        elif number in portfolio.parts and "/" in name:
            why = f"{number} has no such open tool."
        elif number in portfolio.parts:
            why = f"{number} is dropped, or on sale already."
        else:
            close = difflib.get_close_matches(name, [*portfolio.parts, *(funding.sets if funding else ())], n=1)
            hint = f" Did you mean {close[0]}?" if close else ""
            raise click.UsageError(f"The plan knows nothing of {name}.{hint}")
        raise click.UsageError(f"{name} cannot be told to be in or out. {why}")


def _show(spending: Spending, why: str | None, whole: bool, as_json: bool) -> None:
    from pipeline.views.spend_terminal import build_plan_data, render_plan, render_why

    if as_json:
        import json

        click.echo(json.dumps(build_plan_data(spending), ensure_ascii=False, indent=2, allow_nan=False))
    elif why is not None:
        show_lines(render_why(spending, why))
    else:
        show_lines(render_plan(spending, whole))
