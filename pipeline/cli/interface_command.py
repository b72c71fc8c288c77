"""`pipeline interface`: where a part meets the vehicle or another part, that a record does not say yet."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import click

from pipeline.cli.bench_step import Desk, add_bench_options, find_since, run_step, take_near
from pipeline.cli.new_entry import build_entry_draft, build_id_parser

if TYPE_CHECKING:
    from pipeline.portfolio.near import Near
    from pipeline.portfolio.proposal import Draft


LINK_HELP = 'A link of the stack: "+ length", "- coating plate x2", "- sill depth 12.0 +-0.2" or "- pin 14 g6".'


@click.command("interface")
@click.argument("part")
@click.argument("name", required=False, metavar="ID")
@click.option("--what", metavar="TEXT", help="What meets what, e.g. hook to sill.")
@click.option("--gap", metavar="LIMITS", help='Limits of the gap: "0.1 0.9"; below zero is an interference.')
@click.option("--unit", metavar="UNIT", help="Unit of the gap; mm, if left out.")
@click.option("--features", metavar="F,...", help="Features that decide the gap, where no stack is given.")
@click.option("--link", "links", multiple=True, metavar="LINK", help=LINK_HELP)
@click.option("--meets", metavar="PART", help="The other part, if it is one of ours.")
@add_bench_options
def command(part: str, name: str | None, desk: Desk, **flags: Any) -> int:
    """Add an interface to the record of PART: what it meets, the gap it needs, and what decides that gap.

    With --link the gap is a stack and `pipeline stack PART ID` reckons it at once. What the gates want of it from now
    on is shown before anything is written. Where a gate was decided already, the interface keeps its day (`since`), so
    that no decision of an earlier day is judged by it.

    \b
    pipeline interface TW-101 hub --what "hub on spindle" --gap "0.01 0.05" --link "+ bore" --link "- pin 14 -0.02 0"
    """
    from pipeline.cli.answers import parse_limits, parse_link, parse_some_of, parse_text
    from pipeline.model.quantity import LENGTH_UNITS

    near = take_near(desk, part)
    record = near.part
    assert record is not None
    asker = desk.build_asker()

    key = asker.take(
        name, "ID", f"Id (there is {', '.join(record.interfaces) or 'none yet'})", build_id_parser(near, "interfaces")
    )
    what = asker.take(flags["what"], "--what", "What meets what", parse_text)
    gap = asker.take(flags["gap"], "--gap", "Limits of the gap (0.1 0.9)", parse_limits)
    unit = asker.take_choice(flags["unit"], "--unit", "Unit", LENGTH_UNITS, default="mm")
    links = [
        asker.take(one, "--link", "Link", lambda text: parse_link(text, record.features)) for one in flags["links"]
    ]
    features = None
    if not links:
        features = asker.take(
            flags["features"], "--features", f"Features that decide it ({', '.join(record.features)})",
            parse_some_of(record.features, "feature"),
        )  # fmt: skip
    meets = asker.take(flags["meets"], "--meets", "Other part", parse_text, optional=True) if flags["meets"] else None
    asker.refuse_missing()
    entry = {
        "what": what, "gap": {"limits": gap, **({} if unit == "mm" else {"unit": unit})}, "stack": links,
        "features": features, "meets": meets, "since": find_since(desk, near),
    }  # fmt: skip
    return run_step(desk, "interface", part, lambda n: _build_draft(n, str(key), entry), near)


def _build_draft(near: Near, key: str, entry: dict[str, Any]) -> Draft:
    stack = (f"reckon the stack with: pipeline stack {near.number} {key}",) if entry["stack"] else ()
    return build_entry_draft(near, "interfaces", "interface", key, entry, lambda _: stack)
