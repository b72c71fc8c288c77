"""`pipeline tool`: a tool moves on: quoted, ordered, cutting, on trial, first article, accepted."""

from __future__ import annotations

import datetime as dt
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from pipeline.cli.asking import Asker
from pipeline.cli.attach_command import build_entries, take_first_article
from pipeline.cli.attach_studies import list_tools, take_person
from pipeline.cli.bench_step import Desk, add_bench_options, run_step, take_near

if TYPE_CHECKING:
    from pipeline.model.words import ToolStep
    from pipeline.portfolio.near import Near
    from pipeline.portfolio.proposal import Draft

FIRST_ARTICLE = "first article"


@click.command("tool")
@click.argument("part")
@click.argument("tool", required=False)
@click.argument("step", required=False)
@click.option("--kind", metavar="ID", help="Kind of a tool that the record does not have yet; it is added.")
@click.option("--forms", metavar="F,...", help="Features that a tool that is added gives the part; all, if left out.")
@click.option("--price", metavar="MONEY", help="Price of a tool that is added, e.g. 480 USD.")
@click.option("--toolmaker", metavar="ID", help="Who makes a tool that is added.")
@click.option("--article", metavar="ID", help="A first article that is open: its --result is recorded.")
@click.option("--result", help="How the first article came out: good, bad or open.")
@click.option("--gives", metavar="F=V V,...", help="Readings of its pieces, e.g. rim_od=112.36 112.41, drain=4.1 4.0.")
@click.option("--pieces", metavar="N", help="Finished pieces of every cavity.")
@click.option("--finished/--unfinished", default=None, help="Plated, painted, hardened: as they will be sold.")
@click.option("--settings", type=click.Path(exists=True, dir_okay=False, path_type=Path), help="Process settings.")
@click.option("--file", "report", type=click.Path(exists=True, dir_okay=False, path_type=Path), help="Its report.")
@click.option("--covers", metavar="F,...", help="Features that it shows.")
@click.option("--of", metavar="ID", help="Revision that it was made to; the current one, if left out.")
@click.option("--tools", metavar="ID,...", help="All tools that made it; this one, if left out.")
@click.option("--hand", help="left, right or none.")
@click.option("--by", metavar="ID", help="Who inspected it.")
@click.option("--seen-by", metavar="ID", help="Who looked at it besides; nobody signs off their own first article.")
@click.option("--hours", metavar="N", help="Hours that the inspection took.")
@add_bench_options
def command(part: str, tool: str | None, step: str | None, desk: Desk, **flags: Any) -> int:
    """Record that a TOOL of PART reached a STEP: quoted, ordered, cutting, "on trial", "first article", accepted.

    Steps are recorded in their order. An order wants the owner's release; metal is not cut while a hold call stands; a
    first article comes off a tool that is cut, and readings outside their limits are never called good.

    \b
    pipeline tool TW-101 die ordered --day 2026-11-02
    pipeline tool TW-101 die "first article" --pieces 5 --finished --settings shots.csv --by mara --result open
    pipeline tool TW-101 --article A1 --result good --gives "rim_od=112.41 112.38 112.44"
    """
    from pipeline.portfolio.tool_steps import find_keeper

    near = take_near(desk, part)
    asker = desk.build_asker()
    if flags["article"] is not None:
        return _close_article(desk, near, asker, flags)
    name = _take_name(asker, near, tool, flags)
    word = _take_step(asker, near, name, step)
    if name is None or word is None:
        asker.refuse_missing()
    assert name is not None and word is not None
    day = desk.day or near.today
    if word == FIRST_ARTICLE:
        return _record_article(desk, near, asker, name, flags, day)
    keeper = find_keeper(near, name)
    if keeper not in (None, near.number):
        raise click.UsageError(
            f"{name} is kept in the record of {keeper}: pipeline tool {keeper} {name} {step or word}"
        )
    added = _take_new_tool(asker, near, name, flags)
    asker.refuse_missing()
    from pipeline.model.words import ToolStep

    reached = ToolStep(word)
    return run_step(desk, "tool", part, lambda n: _build_step(n, name, reached, day, added), near)


def _take_name(asker: Asker, near: Near, tool: str | None, flags: dict[str, Any]) -> str | None:
    """Return the tool's id: one that is there, or a new one where its kind is given."""
    from pipeline.cli.answers import parse_key

    assert near.part is not None
    if flags["kind"] is not None:
        return asker.take(tool, "TOOL", "Id of the tool", parse_key)
    return asker.take_choice(tool, "TOOL", "Which tool (--kind adds one)", list_tools(near.part))


def _take_step(asker: Asker, near: Near, name: str | None, step: str | None) -> str | None:
    from pipeline.model.words import TOOL_STEPS
    from pipeline.portfolio.tool_steps import find_next_step

    assert near.part is not None
    tool = near.part.tools.get(name or "")
    following = None if tool is None else find_next_step(tool)
    words = [*(one.value for one in TOOL_STEPS), FIRST_ARTICLE]
    given = step.replace("-", " ") if step is not None else None
    default = str(following) if following is not None and asker.interactive else None
    return asker.take_choice(given, "STEP", "Which step was reached", words, default=default)


def _take_new_tool(asker: Asker, near: Near, name: str, flags: dict[str, Any]) -> dict[str, Any] | None:
    """Return the entry of a tool that the record does not have yet, None for one that it has."""
    from pipeline.cli.answers import parse_money, parse_some_of
    from pipeline.portfolio.entries import keep_given

    part = near.part
    assert part is not None
    if name in part.tools:
        if flags["kind"] is not None:
            raise click.UsageError(f"{near.number} has the tool {name} already: leave --kind out.")
        return None
    kind = asker.take_choice(flags["kind"], "--kind", "Kind", near.catalogues.tool_kinds.kinds)
    forms = asker.take(
        flags["forms"], "--forms", "Features it gives the part (all, if left out)",
        parse_some_of(part.features, "feature"), optional=True,
    )  # fmt: skip
    price = asker.take(flags["price"], "--price", "Price (480 USD)", parse_money, optional=True)
    maker = asker.take_choice(
        flags["toolmaker"], "--toolmaker", "Toolmaker", near.catalogues.suppliers.suppliers, optional=True
    )
    is_gauge = kind is not None and near.catalogues.tool_kinds.kinds[kind].gauge
    shown = forms or list(part.features)
    return keep_given({"kind": kind, "checks" if is_gauge else "forms": shown, "price": price, "by": maker})


def _build_step(near: Near, name: str, step: ToolStep, day: dt.date, added: dict[str, Any] | None) -> Draft:
    from pipeline.model.words import ToolStep
    from pipeline.portfolio.near import preview
    from pipeline.portfolio.proposal import Draft
    from pipeline.portfolio.tool_steps import find_new_holds, find_step_faults, find_step_notes
    from pipeline.writing.encoding import edit_bytes
    from pipeline.writing.records import insert_entry, set_value

    assert near.part is not None
    is_new = added is not None and name not in near.part.tools
    pointer = ("tools", name) if is_new else ("tools", name, "steps", step.value)

    def add(text: str) -> str:
        return insert_entry(text, "tools", name, added) if is_new else text

    def edit(text: str) -> str:
        text = add(text)
        if near.part is None or is_new or not near.part.tools[name].steps:
            return set_value(text, ("tools", name, "steps"), {step.value: day})
        return set_value(text, pointer, day)

    before = preview(near, edit_bytes(near.content or b"", add)) if is_new else near
    if before.part is None or before.standing is None:
        return Draft(edit, (pointer,), f"{name} {step}")  # what is wrong with the new tool is told by the checks
    faults = find_step_faults(before, name, step, day)
    if not faults and step is ToolStep.ORDERED:
        faults = find_new_holds(preview(near, edit_bytes(near.content or b"", edit)), name)
    notes = find_step_notes(before, name, step, day)
    return Draft(edit, (pointer,), f"{name} {step}", refusals=faults, notes=notes)


def _record_article(
    desk: Desk, near: Near, asker: Asker, name: str, flags: dict[str, Any], day: dt.date
) -> int:  # fmt: skip
    """Record a first article off a tool: asks for what it must say."""
    from pipeline.portfolio.tool_steps import find_article_faults, find_readings_outside

    assert near.part is not None
    _end_with(find_article_faults(near, name, day))
    entry = take_first_article(asker, near, {**flags, "tools": flags["tools"] or name}, day)
    asker.refuse_missing()
    given = {key: [float(one) for one in values] for key, values in (entry.fields["gives"] or {}).items()}
    files = () if flags["report"] is None else (flags["report"],)
    more = {"reference": False}

    def build(n: Near) -> Draft:
        from dataclasses import replace

        assert n.part is not None
        faults = find_readings_outside(n.part, given, entry.fields["result"])
        return replace(build_entries(n, "first-article", files, [entry], more), refusals=faults)

    return run_step(desk, "tool", near.number, build, near)


def _end_with(faults: tuple[str, ...]) -> None:
    """End with the reasons, before anything more is asked."""
    for fault in faults:
        click.echo(f"refused: {fault}", err=True)
    if faults:
        click.echo("Nothing was written.", err=True)
        raise click.exceptions.Exit(1)


def _close_article(desk: Desk, near: Near, asker: Asker, flags: dict[str, Any]) -> int:
    """Record how a first article that is open came out."""
    from pipeline.cli.answers import parse_piece_readings
    from pipeline.model.words import Result
    from pipeline.portfolio.tool_steps import find_place

    part = near.part
    assert part is not None
    key = asker.take_choice(flags["article"], "--article", "Which first article", part.first_articles)
    if key is None:
        asker.refuse_missing()
    article = part.first_articles[str(key)]
    if article.result is not Result.OPEN:
        place = find_place(near, ("first_articles", str(key), "result"))
        _end_with(
            (f"{place}: {key} came out {article.result} already; what was made since is a first article of its own",)
        )
    result = asker.take_choice(flags["result"], "--result", "Result", [Result.GOOD.value, Result.BAD.value])
    parse = parse_piece_readings(part.features)
    gives = asker.take(
        flags["gives"], "--gives", "Readings of the pieces", parse, optional=True
    ) if not article.gives else None  # fmt: skip
    seen_by = None
    if article.seen_by is None:
        seen_by = take_person(asker, near, flags["seen_by"], "--seen-by", "Seen by", optional=True)
    asker.refuse_missing()
    if article.gives and flags["gives"]:
        place = find_place(near, ("first_articles", str(key), "gives"))
        raise click.UsageError(f"{place}: {key} has readings already; correct them there.")
    return run_step(desk, "tool", near.number, lambda n: _build_result(n, str(key), result, gives, seen_by), near)


def _build_result(near: Near, key: str, result: str | None, gives: dict[str, Any] | None, seen_by: str | None) -> Draft:
    from pipeline.portfolio.proposal import Draft
    from pipeline.portfolio.tool_steps import find_readings_outside
    from pipeline.writing.records import set_value

    assert near.part is not None
    entry = ("first_articles", key)
    values = {"gives": gives, "seen_by": seen_by, "result": result}
    given = {name: value for name, value in values.items() if value is not None}
    read = near.part.first_articles[key].gives
    readings = {name: [float(one) for one in values] for name, values in (gives or read).items()}

    def edit(text: str) -> str:
        for name, value in given.items():
            text = set_value(text, (*entry, name), value)
        return text

    faults = find_readings_outside(near.part, readings, str(result))
    return Draft(edit, (entry,), f"first article {key}: {result}", refusals=faults)
