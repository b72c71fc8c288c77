"""`pipeline application`: a vehicle, a body and years that a part fits too, which a record does not say yet."""

from __future__ import annotations

from typing import Any

import click

from pipeline.cli.bench_step import Desk, add_bench_options, find_since, run_step, take_near
from pipeline.cli.new_entry import build_entry_draft, build_id_parser


@click.command("application")
@click.argument("part")
@click.argument("name", required=False, metavar="ID")
@click.option("--vehicle", metavar="ID", help="Vehicle of shared/vehicles.yaml.")
@click.option("--body", metavar="ID", help="Body of that vehicle.")
@click.option("--years", metavar="YEARS", help="1952-1955, or one year; the years of the body, if left out.")
@add_bench_options
def command(part: str, name: str | None, desk: Desk, **flags: Any) -> int:
    """Add an application to the record of PART: a vehicle, a body and the years that it fits too.

    What the gates want of it from now on is shown before anything is written. Where a gate was decided already, the
    application keeps its day (`since`), so that no decision of an earlier day is judged by it.

    \b
    pipeline application TW-101 estate --vehicle sedge --body estate --years 1953-1955
    """
    from pipeline.cli.answers import parse_years

    near = take_near(desk, part)
    assert near.part is not None
    asker = desk.build_asker()
    vehicles = near.catalogues.vehicles.vehicles
    vehicle = asker.take_choice(flags["vehicle"], "--vehicle", "Vehicle", vehicles)
    if vehicle is None and flags["body"] is None:
        asker.missing.append("--body")
    bodies = vehicles[vehicle].bodies if vehicle is not None else {}
    body = asker.take_choice(flags["body"], "--body", "Body", bodies) if bodies else None
    built = bodies[body].years if body is not None else None
    default = None if built is None else f"{built.first}-{built.last}"
    years = asker.take(flags["years"], "--years", "Years", parse_years, default=default, optional=default is None)
    free = body if body not in near.part.fits else None
    key = asker.take(
        name, "ID", "Short id of this application", build_id_parser(near, "fits"), default=free, optional=body is None
    )
    asker.refuse_missing()
    entry = {"vehicle": vehicle, "body": body, "years": years, "since": find_since(desk, near)}
    return run_step(
        desk, "application", part, lambda n: build_entry_draft(n, "fits", "application", str(key), entry), near
    )
