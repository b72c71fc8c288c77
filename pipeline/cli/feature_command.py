"""`pipeline feature`: a dimension or property that a record does not have yet."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import click

from pipeline.cli.bench_step import Desk, add_bench_options, find_since, run_step, take_near
from pipeline.cli.new_entry import build_entry_draft, build_id_parser

if TYPE_CHECKING:
    from pipeline.portfolio.near import Near
    from pipeline.portfolio.proposal import Draft


@click.command("feature")
@click.argument("part")
@click.argument("name", required=False, metavar="ID")
@click.option("--what", metavar="TEXT", help="What it is, e.g. outside diameter of the rim.")
@click.option("--kind", metavar="WORD", help="size, distance, position, profile, runout, flatness, hardness, ...")
@click.option("--nominal", metavar="N", help="Nominal, in --unit.")
@click.option("--unit", metavar="UNIT", help="mm, in, um, deg, HRC, N, ...; mm, if left out.")
@click.option("--limits", metavar="LIMITS",
              help='Deviations ("-0.25 0.25", "+-0.25", "- 0.2"), or a class: H7, ISO 2768-m, DCTG 6.')  # fmt: skip
@click.option("--critical/--not-critical", default=None, help="Critical features must be covered by evidence.")
@click.option(
    "--wrong", metavar="CLASS,...", help="How a tool would have to be changed, likeliest first: metal-off ..."
)
@click.option("--wear", metavar="WORD", help="Which way wear moves it: none, shrinks, grows.")
@click.option("--shape", metavar="WORD", help="hole, shaft, face, thread or free.")
@click.option("--coating", metavar="ID", help="Measured over a coating: the feature that gives its thickness per face.")
@add_bench_options
def command(part: str, name: str | None, desk: Desk, **flags: Any) -> int:
    """Add a feature to the record of PART: a dimension or property, with its nominal and limits.

    What the gates want of it from now on is shown before anything is written. Where a gate was decided already, the
    feature keeps its day (`since`), so that no decision of an earlier day is judged by it. A feature that is there is
    changed by a revision (`pipeline revise`), which says what that makes stale.

    \b
    pipeline feature TW-101 hub_bore --what "bore of the hub" --kind size --nominal 14 --limits H7 --critical
    pipeline feature TW-101 web --what "web" --kind thickness --nominal 2.4 --limits "ISO 2768-m" --wrong metal-off
    """
    from pipeline.cli.answers import (
        parse_limits_or_class,
        parse_number,
        parse_some_of,
        parse_text,
        parse_yes,
    )
    from pipeline.model.quantity import UNITS
    from pipeline.model.words import ChangeClass, FeatureKind, Wear

    near = take_near(desk, part)
    record = near.part
    assert record is not None
    asker = desk.build_asker()
    key = asker.take(
        name,
        "ID",
        f"Id (there is {', '.join(record.features) or 'none yet'})",
        build_id_parser(near, "features", ADVICE.format(number=near.number, id="{id}")),
    )
    what = asker.take(flags["what"], "--what", "What it is", parse_text)
    kind = asker.take_choice(flags["kind"], "--kind", "Kind", [k.value for k in FeatureKind])
    nominal = asker.take(flags["nominal"], "--nominal", "Nominal", parse_number)
    unit = asker.take_choice(flags["unit"], "--unit", "Unit", UNITS, default="mm")
    limits = asker.take(
        flags["limits"], "--limits", "Limits (+-0.25, -0.1 0.3, H7, ISO 2768-m, DCTG 6)", parse_limits_or_class,
        optional=True,
    )  # fmt: skip
    given = None if flags["critical"] is None else "yes" if flags["critical"] else "no"
    critical = asker.take(given, "--critical", "Critical (yes, no)", parse_yes, default="no")
    classes = [c.value for c in ChangeClass]
    wrong = asker.take(
        flags["wrong"], "--wrong", f"If it is wrong, how the tool changes ({', '.join(classes)})",
        parse_some_of(classes, "class"), optional=True,
    )  # fmt: skip
    words = {
        "wear": asker.take_choice(flags["wear"], "--wear", "Wear", [w.value for w in Wear], default="none"),
        "shape": asker.take_choice(flags["shape"], "--shape", "Shape", SHAPES, default="free"),
    }
    coating = asker.take_choice(flags["coating"], "--coating", "Coating", record.features, optional=True) if (
        flags["coating"] is not None) else None  # fmt: skip
    asker.refuse_missing()
    is_class = isinstance(limits, str)
    entry = {
        "what": what, "kind": kind, "nominal": nominal, "limits": None if is_class else limits, "unit": unit,
        "tolerance": limits if is_class else None, "critical": critical or None, "wrong": wrong,
        "wear": None if words["wear"] == "none" else words["wear"],
        "shape": None if words["shape"] == "free" else words["shape"],
        "coated": True if coating is not None else None, "coating": coating,
        "since": find_since(desk, near),
    }  # fmt: skip
    return run_step(desk, "feature", part, lambda n: _build_draft(n, str(key), entry), near)


SHAPES = ("hole", "shaft", "face", "thread", "free")
ADVICE = " and issue a revision (pipeline revise {number} --changed {id})"


def _build_draft(near: Near, key: str, entry: dict[str, Any]) -> Draft:
    from pipeline.portfolio.starting import describe_limits

    return build_entry_draft(near, "features", "feature", key, entry, lambda after: describe_limits(after, key))
