"""`pipeline build`: the site, from records."""

from __future__ import annotations

import datetime as dt
from pathlib import Path

import click

from pipeline.cli.options import add_workspace_options, take_workspace
from pipeline.cli.program import EXIT_CLEAN, EXIT_FINDINGS

INTERNAL = "internal"
"""The edition with everything in it; the same word as in the model, which no help page has to load."""


@click.command("build")
@add_workspace_options
@click.option(
    "--out",
    "-o",
    type=click.Path(file_okay=False, path_type=Path),
    help="Folder of the site; build/site of the workspace, or build/<edition>, if left out.",
)
@click.option(
    "--edition",
    "-e",
    default=INTERNAL,
    show_default=True,
    help="What is shown: all of it, or an edition of shared/editions.yaml (partner, public) for outsiders.",
)
@click.option("--strict", is_flag=True, help="Exit with 1 when a record has an error or a link leads nowhere.")
def command(workspace: Path | None, today: dt.date | None, out: Path | None, edition: str, strict: bool) -> int:
    """Build the portfolio site. It opens by double click, from a shared drive or from a web server.

    Records that cannot be read are left out and named; the old site stays until the new one is whole. An edition for
    outsiders holds announced and released parts only, and of them what shared/editions.yaml chooses.
    """
    return build_and_tell(take_workspace(workspace), out, today, strict, edition)


def build_and_tell(
    root: Path, out: Path | None = None, today: dt.date | None = None, strict: bool = False, edition: str = INTERNAL
) -> int:
    """Build the site of a workspace and say what came of it and where to open it; return the exit code."""
    from pipeline.portfolio.edition_unknown import EditionUnknown
    from pipeline.sitegen.build import SiteNotBuilt, build_site
    from pipeline.sitegen.site_lock import SiteBusy
    from pipeline.views.build_words import count_errors, render_built

    try:
        built = build_site(root, out, today, edition)
    except EditionUnknown as error:
        raise click.UsageError(f"{error}.") from error
    except (SiteBusy, SiteNotBuilt) as error:
        raise click.ClickException(str(error)) from error
    except OSError as error:
        raise click.ClickException(f"the site was not written, the old one stays: {error}") from error
    for warning in built.warnings:
        click.echo(f"warning: {warning}", err=True)
    click.echo(render_built(built.pages, built.parts, built.findings, built.stands))
    click.echo(f"Open {built.index.as_uri()}")
    more = "" if edition == INTERNAL else f" --edition {edition}"
    click.echo(f"or serve it: pipeline serve --workspace {root}{more}")
    return EXIT_FINDINGS if strict and (count_errors(built.findings) or built.warnings) else EXIT_CLEAN
