"""The steps that every command of the bench takes: look, show, ask, write, check, offer the commit."""

from __future__ import annotations

import contextlib
import datetime as dt
import functools
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from pipeline.cli.asking import Asker, is_answered
from pipeline.cli.options import DayType, add_workspace_options, take_workspace
from pipeline.cli.program import EXIT_CLEAN, EXIT_FINDINGS

if TYPE_CHECKING:
    from pipeline.portfolio.near import Near
    from pipeline.portfolio.proposal import Draft, Proposal

MAX_TRIES = 8
"""How often an edit is worked out anew because somebody else wrote the same record in between."""


@dataclass(frozen=True)
class Desk:
    """Where a command works and how it may speak: the workspace, the day, and what the shared flags say."""

    root: Path
    today: dt.date | None
    yes: bool
    as_json: bool
    commit: bool
    dry_run: bool
    day: dt.date | None = None

    @property
    def interactive(self) -> bool:
        """True when a person is there to answer."""
        return not self.yes and not self.as_json and is_answered()

    def build_asker(self) -> Asker:
        """Return the prompts; a script that says neither --yes nor --dry-run is told so with what else is missing."""
        asker = Asker(self.interactive)
        if not self.interactive and not self.yes and not self.dry_run:
            asker.missing.append("--yes (or --dry-run)")
        return asker


def add_bench_options(function: Callable[..., Any]) -> Callable[..., Any]:
    """Add the flags that every command of the bench has; the function gets them as one `desk`."""

    @functools.wraps(function)
    def take(
        *args: Any, workspace: Path | None, today: dt.date | None, yes: bool, as_json: bool, commit: bool,
        dry_run: bool, day: dt.date | None, **rest: Any,
    ) -> Any:  # fmt: skip
        desk = Desk(take_workspace(workspace), today, yes, as_json, commit, dry_run, day)
        return function(*args, desk=desk, **rest)

    for option in (
        click.option("--day", type=DayType(), metavar="DAY", help="Day of what is recorded; today, if left out."),
        click.option("--yes", "-y", is_flag=True, help="Ask nothing and write; every prompt has a flag."),
        click.option("--json", "as_json", is_flag=True, help="Answer as JSON; asks nothing."),
        click.option("--dry-run", is_flag=True, help="Show what would be written, and stop."),
        click.option("--commit", is_flag=True, help="Commit what was written, and only that, as you would yourself."),
    ):
        take = option(take)
    return add_workspace_options(take)


def take_near(desk: Desk, number: str) -> Near:
    """Return a record with what it points at, or end with what keeps it from being used."""
    from pipeline.findings.report import render_text
    from pipeline.portfolio.near import read_near

    _refuse_unknown(desk.root, number)
    near, problems = read_near(desk.root, number, desk.today)
    if near is None or near.part is None:
        click.echo(render_text(problems or (near.findings if near else ())), err=True)
        click.echo("Nothing was written. Mend these first.", err=True)
        raise click.exceptions.Exit(EXIT_FINDINGS)
    return near


def find_since(desk: Desk, near: Near) -> dt.date | None:
    """Return the day that an entry keeps which is added after something was decided; None where nothing was."""
    decided = near.part is not None and near.part.decisions
    return desk.day or near.today if decided else None


def _refuse_unknown(root: Path, number: str) -> None:
    import difflib

    from pipeline.reading.workspace import find_record_folders

    known = find_record_folders(root)
    if number not in known:
        close = difflib.get_close_matches(number, known, n=1)
        hint = f" Did you mean {close[0]}?" if close else " Start it with `pipeline new`."
        raise click.UsageError(f"There is no record projects/{number}.{hint}")


def run_step(desk: Desk, command: str, number: str, build: Callable[[Near], Draft], near: Near | None = None) -> int:
    """Work an edit out, show it, ask, write it, show what the checks say, and offer the commit. Returns the exit code.

    When the record was changed by somebody else since it was read, the edit is worked out anew on what is there now,
    so that neither edit is lost.
    """
    from pipeline.writing.locks import LockedError, take_lock
    from pipeline.writing.plans import ChangedMeanwhileError, write_plan, write_plan_holding_lock

    for attempt in range(MAX_TRIES):
        # Nobody waits under a lock while a person reads. A script that was overtaken once holds it from reading to
        # writing, so it cannot be overtaken again by any other command, however busy the record is.
        alone = attempt > 0 and not desk.interactive
        try:
            with take_lock(desk.root, number) if alone else contextlib.nullcontext():
                answer = _work_out(desk, command, number, build, near)
                if isinstance(answer, int):
                    return answer
                write = write_plan_holding_lock if alone else functools.partial(write_plan, lock=number)
                write(desk.root, answer.plan)
        except ChangedMeanwhileError as changed:
            click.echo(f"{changed}; working the edit out again on what is there now.", err=True)
            near = None
            continue
        except LockedError as busy:
            return _refuse(desk, command, number, (str(busy),))
        except OSError as error:
            return _refuse(desk, command, number, (f"the disk refused: {error}",))
        return _tell(desk, command, answer)
    return _refuse(desk, command, number, (f"{number} changes all the time; try again when it rests",))


def _work_out(
    desk: Desk, command: str, number: str, build: Callable[[Near], Draft], near: Near | None
) -> Proposal | int:
    """Read the record unless it was read already, work the edit out, show it and ask. Returns the proposal to write,
    or the exit code where nothing is to be written."""
    from pipeline.portfolio.near import read_near
    from pipeline.portfolio.proposal import build_proposal
    from pipeline.writing.records import EditError

    if near is None:
        near, problems = read_near(desk.root, number, desk.today)
        if near is None:
            return _refuse(desk, command, number, tuple(f.message for f in problems))
    try:
        proposal = build_proposal(near, build(near))
    except (EditError, ValueError, OSError) as error:
        return _refuse(desk, command, number, (str(error),))
    if proposal.refusals or proposal.faults:
        return _refuse(desk, command, number, proposal.refusals, proposal)
    return proposal if _is_wanted(desk, proposal) else EXIT_CLEAN


def _is_wanted(desk: Desk, proposal: Proposal) -> bool:
    """Show the edit and ask; in JSON nothing is shown before the end."""
    from pipeline.writing.plans import render_diff

    if not proposal.plan.paths:
        click.echo("Nothing would change.", err=desk.as_json)
        return False
    if desk.as_json:
        if desk.dry_run or not desk.yes:
            _echo_json(desk, "", proposal, written=False)
            return False
        return True
    for note in proposal.notes:
        click.echo(note)
    click.echo(render_diff(proposal.plan))
    if desk.dry_run:
        click.echo("Nothing was written (--dry-run).")
        return False
    if desk.yes:
        return True
    if desk.interactive and click.confirm("Write this?", default=True, err=True):
        return True
    click.echo("Nothing was written.")
    return False


def _refuse(desk: Desk, command: str, number: str, reasons: tuple[str, ...], proposal: Proposal | None = None) -> int:
    from pipeline.findings.report import build_json, render_json, render_text

    faults = () if proposal is None or reasons else proposal.faults  # the reasons say the same, line by line
    if desk.as_json:
        answer = {
            "format": "repro-pipeline bench 1", "command": command, "record": number, "written": False,
            "refused": list(reasons), "findings": build_json(faults, 1, 0)["findings"],
        }  # fmt: skip
        click.echo(render_json(answer))
        return EXIT_FINDINGS
    for reason in reasons:
        click.echo(f"refused: {reason}", err=True)
    if faults:
        click.echo(render_text(faults), err=True)
    click.echo("Nothing was written.", err=True)
    return EXIT_FINDINGS


def _tell(desk: Desk, command: str, proposal: Proposal) -> int:
    """Show what the checks say of the record now, and offer the commit."""
    from pipeline.findings.report import render_text

    paths, subject = proposal.plan.paths, f"{proposal.after.number}: {proposal.subject}"
    if desk.as_json:
        _echo_json(desk, command, proposal, written=True)
        return EXIT_CLEAN
    click.echo(f"Wrote {', '.join(paths)}.")
    if proposal.after.findings:
        click.echo(render_text(proposal.after.findings))
    else:
        click.echo(f"The checks find nothing wrong with {proposal.after.number}.")
    offer_commit(desk, paths, subject)
    return EXIT_CLEAN


def offer_commit(desk: Desk, paths: tuple[str, ...], subject: str) -> None:
    """Say how to commit, ask a person, and commit where it was asked for."""
    from pipeline.history.user import is_in_repository, render_commit_command

    if not is_in_repository(desk.root):
        return
    wanted = desk.commit or (desk.interactive and click.confirm("Commit it now?", default=False, err=True))
    if not wanted:
        click.echo(f"To commit it: {render_commit_command(paths, subject)}")
        return
    digest, words = make_commit(desk, paths, subject)
    click.echo(f"Committed {digest}." if digest else f"Written, but git did not commit it: {words}", err=digest is None)


def make_commit(desk: Desk, paths: tuple[str, ...], subject: str) -> tuple[str | None, str]:
    """Commit the paths; return the hash, or None and git's words."""
    from pipeline.findings.finding import clean_text
    from pipeline.history.user import commit_paths

    done = commit_paths(desk.root, paths, subject)
    return done.digest, clean_text(done.words, 600)


def _echo_json(desk: Desk, command: str, proposal: Proposal, *, written: bool) -> None:
    from pipeline.findings.report import build_json, render_json
    from pipeline.history.user import render_commit_command
    from pipeline.writing.plans import render_diff

    subject = f"{proposal.after.number}: {proposal.subject}"
    digest, words = make_commit(desk, proposal.plan.paths, subject) if written and desk.commit else (None, "")
    answer = {
        "format": "repro-pipeline bench 1",
        "command": command or proposal.subject,
        "record": proposal.after.number,
        "written": written,
        "files": list(proposal.plan.paths),
        "entries": list(proposal.pointers),
        "notes": list(proposal.notes),
        "diff": render_diff(proposal.plan),
        "findings": build_json(proposal.after.findings, 1, 0)["findings"],
        "commit_command": render_commit_command(proposal.plan.paths, subject),
        "committed": digest,
        **({"commit_failed": words} if words and digest is None else {}),
    }
    click.echo(render_json(answer))
