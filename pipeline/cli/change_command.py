"""`pipeline change`: what was found, where, and what it cost."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import click

from pipeline.cli.attach_studies import take_person
from pipeline.cli.bench_step import Desk, add_bench_options, run_step, take_near

if TYPE_CHECKING:
    from pipeline.portfolio.near import Near
    from pipeline.portfolio.proposal import Draft


@click.command("change")
@click.argument("part")
@click.option("--found-at", metavar="STAGE", help='Stage at which it was found, e.g. "fit check".')
@click.option("--what", metavar="TEXT", help="What was found.")
@click.option("--mode", metavar="WORD", help="dimension, fit, function, appearance, material-process, marking-legal.")
@click.option("--features", metavar="F,...", help="Features that it touches.")
@click.option("--found-by", metavar="ID", help="The check that found it, e.g. F1.")
@click.option("--fixed-in", metavar="ID", help="Revision that mends it.")
@click.option("--tool", metavar="ID", help="Tool that was changed.")
@click.option("--class", "class_", metavar="WORD", help="How the tool was changed: metal-off, weld, insert ...")
@click.option("--predicted", metavar="MONEY", help="What it was thought to cost; reckoned, if left out.")
@click.option("--actual", metavar="MONEY", help="What it cost.")
@click.option("--predicted-weeks", metavar="N", help="Weeks that it was thought to take; reckoned, if left out.")
@click.option("--weeks", metavar="N", help="Weeks that it took.")
@click.option("--by", metavar="ID", help="Who found it.")
@add_bench_options
def command(part: str, desk: Desk, **flags: str | None) -> int:
    """Record an engineering change to PART: what was found, where, what it dragged along and what it cost.

    What was predicted and what it really cost are kept side by side, so that the shop learns its own ladder.
    """
    from pipeline.cli.answers import parse_money, parse_not_negative, parse_some_of, parse_text
    from pipeline.model.words import ChangeClass, FailureMode, LadderStage
    from pipeline.portfolio.entries import collect_keys

    near = take_near(desk, part)
    record = near.part
    assert record is not None
    asker = desk.build_asker()
    stage = flags["found_at"].replace("-", " ") if flags["found_at"] else None
    found_at = asker.take_choice(stage, "--found-at", "Found at", [s.value for s in LadderStage])
    what = asker.take(flags["what"], "--what", "What was found", parse_text)
    mode = asker.take_choice(flags["mode"], "--mode", "Kind of error", [m.value for m in FailureMode])
    features = asker.take(
        flags["features"], "--features", "Features", parse_some_of(record.features, "feature"), optional=True
    )
    evidence = list(collect_keys(record))
    found_by = asker.take_choice(flags["found_by"], "--found-by", "Found by which check", evidence, optional=True)
    fixed_in = asker.take_choice(flags["fixed_in"], "--fixed-in", "Mended in revision", record.revisions, optional=True)
    tool = asker.take_choice(flags["tool"], "--tool", "Tool that was changed", record.tools, optional=True)
    classes = [c.value for c in ChangeClass] if tool is not None or flags["class_"] else []
    class_ = asker.take_choice(flags["class_"], "--class", "How it was changed", classes, optional=True)
    predicted = asker.take(
        flags["predicted"], "--predicted", "Predicted cost", parse_money, optional=True,
        default=_predict(near, features, found_at),
    )  # fmt: skip
    actual = asker.take(flags["actual"], "--actual", "Actual cost", parse_money, optional=True)
    predicted_weeks = asker.take(
        flags["predicted_weeks"], "--predicted-weeks", "Predicted weeks", parse_not_negative, optional=True,
        default=_predict_weeks(near, features, found_at),
    )  # fmt: skip
    weeks = asker.take(flags["weeks"], "--weeks", "Weeks", parse_not_negative, optional=True)
    by = take_person(asker, near, flags["by"], "--by", "Who found it")
    asker.refuse_missing()
    entry = {
        "found_at": found_at, "on": desk.day or near.today, "by": by, "what": what, "mode": mode,
        "features": features, "found_by": found_by, "fixed_in": fixed_in, "tool": tool, "class": class_,
        "predicted": predicted, "actual": actual, "predicted_weeks": predicted_weeks, "weeks": weeks,
    }  # fmt: skip
    return run_step(desk, "change", part, lambda n: _build_draft(n, entry), near)


def _predict(near: Near, features: list[str] | None, found_at: str | None) -> str | None:
    """Return what the cost of change says of it, in workspace currency; None where it cannot be reckoned."""
    from pipeline.views.bench import predict_change

    if not features or found_at is None:
        return None
    return predict_change(near.build_part_file(), features, found_at)


def _predict_weeks(near: Near, features: list[str] | None, found_at: str | None) -> str | None:
    """Return what the cost of change says of its weeks; None where it cannot be reckoned, or takes none."""
    from pipeline.views.bench import predict_change_weeks

    if not features or found_at is None:
        return None
    return predict_change_weeks(near.build_part_file(), features, found_at)


def _build_draft(near: Near, entry: dict[str, Any]) -> Draft:
    from pipeline.portfolio.entries import find_next_key, keep_given
    from pipeline.portfolio.proposal import Draft
    from pipeline.writing.records import insert_entry

    assert near.part is not None
    key = find_next_key(near.part, "changes")
    given = keep_given(entry)
    return Draft(
        lambda text: insert_entry(text, "changes", key, given), (("changes", key),),
        f"change {key}, found at {entry['found_at']}",
    )  # fmt: skip
