"""`pipeline init`: an empty workspace."""

from __future__ import annotations

from pathlib import Path

import click


@click.command("init")
@click.argument("folder", type=click.Path(path_type=Path), metavar="DIR")
@click.option("--name", default="Our workshop", show_default=True, help="Name of the maker.")
@click.option("--currency", default="USD", show_default=True, help="ISO 4217 code of the workspace currency.")
def command(folder: Path, name: str, currency: str) -> int:
    """Start an empty workspace in DIR: catalogues to fill in, a site, schemas for editors, and a git repository.

    DIR may exist but must be empty; nothing is ever overwritten.
    """
    import re

    from pipeline.demo.empty import write_empty_workspace

    if not re.fullmatch(r"[A-Z]{3}", currency):
        raise click.UsageError(f"{currency!r} is not a currency code; write three capitals, e.g. USD (ISO 4217).")
    if not name.strip() or len(name) > 100:
        raise click.UsageError("The maker's name must have 1 to 100 letters.")
    refuse_full_folder(folder)
    write_empty_workspace(folder, name.strip(), currency)
    click.echo(f"Wrote an empty workspace to {folder}.")
    click.echo("Next: fill in shared/people.yaml and shared/vehicles.yaml, write projects/<number>/part.yaml,")
    click.echo(f"then run `pipeline check -w {folder}` and `pipeline build -w {folder}`.")
    return 0


def refuse_full_folder(folder: Path) -> None:
    """End with wrong usage when a folder has something in it, or is no folder."""
    if folder.is_symlink():
        raise click.UsageError(f"{folder} is a link; name the folder itself.")
    if folder.exists() and not folder.is_dir():
        raise click.UsageError(f"{folder} is a file.")
    if folder.is_dir() and any(folder.iterdir()):
        raise click.UsageError(f"{folder} is not empty; name a new folder, so that nothing is overwritten.")
