"""`pipeline serve`: the site on this machine, built again when a record changes."""

from __future__ import annotations

import datetime as dt
import importlib
import threading
from pathlib import Path

import click

from pipeline.cli.build_command import INTERNAL
from pipeline.cli.options import add_workspace_options, take_workspace


@click.command("serve")
@add_workspace_options
@click.option(
    "--port", "-p", type=click.IntRange(0, 65535), default=8000, show_default=True, help="0 takes a free one."
)
@click.option("--out", "-o", type=click.Path(file_okay=False, path_type=Path), help="Folder of the site.")
@click.option("--edition", "-e", default=INTERNAL, show_default=True, help="What is shown, as of `pipeline build`.")
def command(workspace: Path | None, today: dt.date | None, port: int, out: Path | None, edition: str) -> int:
    """Build the site, serve it on this machine only, and build it again when projects/, shared/ or site/ change.

    A page that is open in a browser shows itself anew after each build.
    """
    serve_workspace(take_workspace(workspace), port, out, today, edition)
    return 0


def serve_workspace(
    root: Path, port: int = 8000, out: Path | None = None, today: dt.date | None = None, edition: str = INTERNAL
) -> None:
    """Build and serve the site of a workspace until the user ends it."""
    from pipeline.portfolio.edition_unknown import EditionUnknown
    from pipeline.sitegen.build import SiteNotBuilt, build_site
    from pipeline.sitegen.serving import Builds, find_state, open_server, watch
    from pipeline.sitegen.site_lock import SiteBusy
    from pipeline.views.build_words import render_built

    builds = Builds()

    def build() -> Path | None:
        try:
            built = build_site(root, out, today, edition)
        except (SiteBusy, SiteNotBuilt, EditionUnknown, OSError) as error:
            click.echo(f"not built, the old site stays: {error}", err=True)
            return None
        for warning in built.warnings:
            click.echo(f"warning: {warning}", err=True)
        click.echo(render_built(built.pages, built.parts, built.findings, built.stands))
        if not built.stands:
            builds.tell()
        return built.out

    before = find_state(root)  # what is edited while the first build runs is built afterwards
    site = build()
    if site is None:
        raise click.ClickException("there is no site to serve yet; mend what stands above and try again")
    try:
        server = open_server(lambda: site, port, builds)
    except OSError as error:
        raise click.ClickException(
            f"port {port} cannot be used ({error.strerror}); choose another with --port"
        ) from error
    click.echo(f"Serving http://127.0.0.1:{server.server_address[1]}/ on this machine only; Ctrl-C ends it.")
    stop = threading.Event()
    watcher = threading.Thread(target=watch, args=(root, build, stop), kwargs={"known": before}, daemon=True)
    watcher.start()
    threading.Thread(target=load_ahead, daemon=True).start()
    try:
        server.serve_forever()
    except KeyboardInterrupt:
        click.echo("Ended.")
    finally:
        stop.set()
        server.server_close()
        watcher.join(timeout=30)


def load_ahead() -> None:
    """Load what renders pages while nobody waits: a site that stood needed none of it, the first edit does."""
    importlib.import_module("pipeline.sitegen.mkdocs_build")
