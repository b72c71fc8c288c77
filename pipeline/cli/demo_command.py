"""`pipeline demo`: a workspace of invented parts with its history, and its site."""

from __future__ import annotations

from pathlib import Path

import click

from pipeline.cli.init_command import refuse_full_folder


@click.command("demo")
@click.argument("folder", type=click.Path(path_type=Path), default=Path("demo"), metavar="[DIR]")
@click.option("--parts", default=200, show_default=True, type=click.IntRange(1, 10_000), help="How many parts in all.")
@click.option("--seed", default=7, show_default=True, type=int, help="Seed of the synthetic parts.")
@click.option("--no-site", is_flag=True, help="Write the workspace only.")
@click.option("--serve", is_flag=True, help="Serve the site on this machine when it is built.")
def command(folder: Path, parts: int, seed: int, no_site: bool, serve: bool) -> int:
    """Write a demo workspace into DIR (default: demo), with a git history, build its site, and say where to open it.

    All data in it are invented. DIR must be new or empty.
    """
    from pipeline.demo.demo_workspace import write_demo

    refuse_full_folder(folder)
    try:
        written = write_demo(folder.absolute(), parts, seed, lambda line: click.echo(line, err=True))
    except OSError as error:
        raise click.UsageError(f"{folder} cannot be written: {error.strerror or error}") from None
    history = f"{written.commits} commits" if written.commits else "no history (git is not installed)"
    click.echo(f"Wrote {folder}: {written.by_hand} parts by hand, {written.synthetic} synthetic, {history}.")
    if no_site:
        return 0
    from pipeline.cli.build_command import build_and_tell

    status = build_and_tell(folder.absolute())
    if serve:
        from pipeline.cli.serve_command import serve_workspace

        serve_workspace(folder.absolute())
    return status
