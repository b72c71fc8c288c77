"""`pipeline check`: what is wrong, where, and how to mend it."""

from __future__ import annotations

import datetime as dt
from contextlib import closing
from pathlib import Path

import click

import pipeline
from pipeline.cli.options import add_workspace_options, take_workspace
from pipeline.cli.program import EXIT_CLEAN, EXIT_FINDINGS


@click.command("check")
@click.argument("parts", nargs=-1, metavar="[PART]...")
@add_workspace_options
@click.option(
    "--format",
    "form",
    type=click.Choice(["text", "json", "sarif"]),
    default="text",
    show_default=True,
    help="For people, for programs, or SARIF 2.1.0 for a review system.",
)
@click.option("--strict", is_flag=True, help="Warnings count too for the exit code.")
@click.option(
    "--deep", is_flag=True, help="Open the evidence too: fit points, look at meshes, compare with the recorded values."
)
@click.option(
    "--history", is_flag=True, help="Read git too: who recorded what and when, and where that contradicts a record."
)
@click.option(
    "--signatures", is_flag=True, help="With --history: let git verify signed commits (starts gpg or ssh-keygen)."
)
def command(
    parts: tuple[str, ...], workspace: Path | None, today: dt.date | None, form: str, strict: bool, deep: bool,
    history: bool, signatures: bool,
) -> int:  # fmt: skip
    """Check every record of a workspace, or only the parts that are named.

    Exit code 0: nothing is wrong; 1: there are errors (with --strict: or warnings); 2: wrong usage.
    """
    from pipeline.findings.finding import Severity
    from pipeline.findings.report import build_json, build_sarif, render_json, render_summary, render_text
    from pipeline.portfolio.build_cache import BuildCache
    from pipeline.portfolio.check import check_workspace

    root = take_workspace(workspace)
    with closing(BuildCache(root)) as cache:
        checked = check_workspace(root, today, parts, deep=deep, cache=cache)
    _refuse_unknown_parts(parts, root)
    findings, records = checked.findings, checked.reading.records
    if history or signatures:
        from pipeline.findings.report import sort_findings
        from pipeline.portfolio.story import read_story
        from pipeline.portfolio.story_findings import check_story

        story = read_story(root, checked, signatures=signatures)
        findings = sort_findings([*findings, *check_story(root, checked, story, parts)])
    broken = records - len(checked.workspace.parts if checked.workspace else ())
    if form == "json":
        click.echo(render_json(build_json(findings, records, broken)))
    elif form == "sarif":
        from pipeline.findings.catalogue import RULES

        click.echo(render_json(build_sarif(findings, RULES, pipeline.__version__)))
    else:
        if findings:
            click.echo(render_text(findings))
        if records == 0:
            click.echo("No records yet: write projects/<number>/part.yaml; the README shows one.")
        click.echo(render_summary(findings, records, broken))
    counted = {Severity.ERROR, Severity.WARNING} if strict else {Severity.ERROR}
    return EXIT_FINDINGS if any(f.severity in counted for f in findings) else EXIT_CLEAN


def _refuse_unknown_parts(parts: tuple[str, ...], root: Path) -> None:
    from pipeline.reading.workspace import find_record_folders

    known = find_record_folders(root)
    for part in parts:
        if part not in known:
            import difflib

            close = difflib.get_close_matches(part, known, n=1)
            hint = f" Did you mean {close[0]}?" if close else ""
            raise click.UsageError(f"There is no record projects/{part}.{hint}")
