"""`pipeline doctor`: what this machine and this workspace have, and what is missing."""

from __future__ import annotations

from pathlib import Path

import click


@click.command("doctor")
@click.option(
    "--workspace", "-w", type=click.Path(exists=True, file_okay=False, path_type=Path), default=None,
    help="Folder with projects/ and shared/; the one around the current folder, if left out.",
)  # fmt: skip
@click.option("--json", "as_json", is_flag=True, help="Answer as JSON.")
def command(workspace: Path | None, as_json: bool) -> int:
    """Look at git, the workspace, versions, fonts, schemas, the hook, and names that some system cannot hold.

    Exit code 1 when something is missing that the work needs.

    Shell completion: bash `eval "$(_PIPELINE_COMPLETE=bash_source pipeline)"` in ~/.bashrc; zsh `eval
    "$(_PIPELINE_COMPLETE=zsh_source pipeline)"` in ~/.zshrc; fish `_PIPELINE_COMPLETE=fish_source pipeline | source` in
    ~/.config/fish/completions/pipeline.fish.
    """
    from pipeline.cli.options import find_workspace
    from pipeline.findings.report import render_json
    from pipeline.portfolio.checkup import Level, look_over

    start = (workspace or Path.cwd()).resolve()
    try:
        root: Path | None = find_workspace(start)
    except click.UsageError:
        root = None
    found = look_over(root, start)
    bad = any(one.level is Level.BAD for one in found)
    if as_json:
        rows = [{"what": o.what, "level": o.level.value, "words": o.words, "fix": o.fix} for o in found]
        click.echo(render_json({"format": "repro-pipeline doctor 1", "found": rows}))
        return int(bad)
    for one in found:
        click.echo(f"{one.level.value:<8} {one.what}: {one.words}")
        if one.fix:
            click.echo(f"         fix: {one.fix}")
    return int(bad)
