"""`pipeline hook`: staged records checked before each commit."""

from __future__ import annotations

import sys
from pathlib import Path

import click

from pipeline.cli.options import take_workspace

MARK = "# repro-pipeline: staged records are checked before each commit"

_workspace = click.option(
    "--workspace", "-w", type=click.Path(exists=True, file_okay=False, path_type=Path), default=None,
    help="Folder with projects/ and shared/; the one around the current folder, if left out.",
)  # fmt: skip


@click.group("hook")
def command() -> None:
    """Check staged records before each commit: as they are staged, not as they lie on disk.

    Errors keep the commit back. A hold call, a gate that went stale and a waiver that ran out are told and keep
    nothing back: they follow from honest edits.

    \b
    On one machine:      pipeline hook install
    pre-commit framework, in .pre-commit-config.yaml:
        repos:
          - repo: local
            hooks:
              - {id: pipeline-records, name: records, entry: pipeline hook run, language: system,
                 pass_filenames: false, files: "^(projects|shared)/"}
    On a build server, with the results as SARIF for its review view:
        pipeline check --strict --format sarif > findings.sarif
        (keep findings.sarif as a result of the run even when the exit code is 1, and let the review view read it)
    """


@command.command("install")
@_workspace
def install(workspace: Path | None) -> int:
    """Install the hook into the repository around the workspace. A hook of somebody else's is never overwritten."""
    from pipeline.history.staged import find_hooks_folder
    from pipeline.history.user import read_prefix
    from pipeline.writing.files import write_bytes

    root = take_workspace(workspace)
    folder, why = find_hooks_folder(root)
    if folder is None:
        raise click.UsageError(f"{why}.")
    file = folder / "pre-commit"
    text = build_hook(read_prefix(root))
    if file.is_symlink() or (file.exists() and MARK not in file.read_text("utf-8", "replace")):
        click.echo(f"refused: {file} is there already and is not ours; it was left alone.", err=True)
        click.echo("Add this line to it instead:  pipeline hook run || exit 1", err=True)
        return 1
    write_bytes(file, text.encode("utf-8"))
    file.chmod(0o755)
    click.echo(f"Installed {file}.")
    click.echo("It checks what is staged before each commit; `git commit --no-verify` passes it by.")
    return 0


def build_hook(prefix: str) -> str:
    """Return the text of the hook; `prefix` is the workspace's path in the repository, "" or ending in `/`."""
    place = f' -w "{prefix.rstrip("/")}"' if prefix else ""
    python = Path(sys.executable).as_posix()
    return (
        f"#!/bin/sh\n{MARK}\n"
        f"if command -v pipeline >/dev/null 2>&1; then exec pipeline hook run{place}; fi\n"
        f'if [ -x "{python}" ]; then exec "{python}" -m pipeline hook run{place}; fi\n'
        'echo "pipeline is not installed here: staged records were not checked" >&2\nexit 0\n'
    )


@command.command("run")
@_workspace
@click.option("--format", "form", type=click.Choice(["text", "json", "sarif"]), default="text", show_default=True)
def run(workspace: Path | None, form: str) -> int:
    """Check what is staged. Exit code 1 keeps the commit back."""
    from pipeline.history.staged import read_staged

    root = take_workspace(workspace)
    staged = read_staged(root)
    touches = any(path.startswith(("projects/", "shared/")) for path in staged.changed)
    if form == "text" and not touches and not staged.conditions:
        return 0  # nothing of ours is staged: a commit of other files must not wait
    import pipeline
    from pipeline.findings.catalogue import RULES
    from pipeline.findings.report import build_json, build_sarif, render_json, render_text
    from pipeline.portfolio.staged_check import check_staged

    found = check_staged(root, staged)
    if found.trouble:
        click.echo(f"staged records were not checked: {found.trouble}", err=True)
        return 0
    if form == "json":
        click.echo(render_json(build_json(found.findings, len(found.numbers), 0)))
    elif form == "sarif":
        click.echo(render_json(build_sarif(found.findings, RULES, pipeline.__version__)))
    elif found.findings:
        click.echo(render_text(found.findings), err=True)
    if found.blockers and form == "text":
        count = len(found.blockers)
        click.echo(f"{count} error{'' if count == 1 else 's'} in what is staged; nothing was committed.", err=True)
    return 1 if found.blockers else 0
