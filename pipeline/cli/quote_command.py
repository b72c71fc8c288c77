"""`pipeline quote`: a supplier's offer, on one footing with the others."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from pipeline.cli.asking import Asker
from pipeline.cli.bench_step import Desk, add_bench_options, run_step, take_near

if TYPE_CHECKING:
    from pipeline.portfolio.near import Near
    from pipeline.portfolio.proposal import Draft


@click.command("quote")
@click.argument("part")
@click.argument("file", required=False, type=click.Path(exists=True, dir_okay=False, path_type=Path))
@click.option("--from", "supplier", metavar="ID", help="Supplier (shared/suppliers.yaml).")
@click.option("--of", metavar="ID", help="Revision that was quoted; the current one, if left out.")
@click.option("--valid-to", metavar="DAY", help="Last day on which it holds.")
@click.option("--money", metavar="CODE", help="Currency, ISO 4217; that of the workspace, if left out.")
@click.option("--tools", metavar="ID=PRICE,...", help="Price of each tool.")
@click.option("--tool-kinds", metavar="ID=KIND,...", help="Kinds of tools that the record does not have yet.")
@click.option("--piece", metavar="N=PRICE,...", help="Price of a piece by order quantity.")
@click.option("--pay", metavar="WHEN=SHARE,...", help="Payments, e.g. order=0.4,delivery=0.6.")
@click.option("--weeks", metavar="N", help="Weeks to first shots.")
@click.option("--yield", "yield_", metavar="SHARE", help="Share of good pieces, e.g. 0.94.")
@click.option("--least-order", metavar="N", help="Least order quantity.")
@click.option("--order", metavar="N", help="Pieces that you would order at a time; a year's need, if left out.")
@click.option("--life-shots", metavar="N", help="Life of the tool in shots.")
@click.option("--freight", metavar="N", help="Freight per piece, in workspace currency.")
@click.option("--duty", metavar="SHARE", help="Duty on pieces.")
@click.option("--tool-duty", metavar="SHARE", help="Duty on tools.")
@click.option("--secondary", metavar="N", help="Outside operations per piece, in workspace currency.")
@click.option("--samples", metavar="N", help="Price of samples.")
@click.option("--owns-tool", metavar="WORD", help="us, supplier, shared or not stated.")
@click.option("--storage/--no-storage", default=None, help="Tool stored and insured by the supplier.")
@click.option("--drawings/--no-drawings", default=None, help="Tool drawings handed over.")
@click.option("--releases-tool/--keeps-tool", default=None, help="Tool released against payment.")
@click.option("--not-wanted", metavar="LINE,...", help="Lines of the scope that are left out on purpose.")
@click.option("--covers", metavar="F,...", help="Features that the price depends on; all, if left out.")
@add_bench_options
def command(part: str, file: Path | None, desk: Desk, **flags: Any) -> int:
    """Record an offer for PART, with its paper FILE. What the offer does not say is left out; it never counts as zero.

    A tool that the record does not have yet is added as quoted.

    \b
    pipeline quote TW-101 offer.pdf --from north-die --tools die=38000,trim=6500 --piece 800=6.90 --valid-to 2027-01-15
    """
    near = take_near(desk, part)
    record, lineage = near.part, near.lineage
    assert record is not None and lineage is not None
    if not record.revisions:
        raise click.UsageError(f"{part} has no revision yet; a quote is made on one (`pipeline revise`).")
    asker = desk.build_asker()
    entry = _take_entry(asker, near, flags, desk)
    kinds = _take_kinds(asker, near, entry.get("tools") or {}, flags["tool_kinds"])
    asker.refuse_missing()
    return run_step(desk, "quote", part, lambda n: _build_draft(n, file, entry, kinds), near)


def _take_entry(asker: Asker, near: Near, flags: dict[str, Any], desk: Desk) -> dict[str, Any]:
    from pipeline.cli.answers import parse_day, parse_not_negative, parse_number_pairs, parse_some_of
    from pipeline.cli.asking import split_list
    from pipeline.model.words import ToolOwner

    part, lineage = near.part, near.lineage
    assert part is not None and lineage is not None

    def number(name: str, question: str) -> Any:
        flag = f"--{name.replace('_', '-').rstrip('-')}"
        return asker.take(flags[name], flag, question, parse_not_negative, optional=True)

    currencies = [near.catalogues.money.currency, *(r.money for r in near.catalogues.money.rates)]
    entry = {
        "from": asker.take_choice(flags["supplier"], "--from", "Supplier", near.catalogues.suppliers.suppliers),
        "of": asker.take_choice(flags["of"], "--of", "On which revision", part.revisions, default=lineage.current),
        "on": desk.day or near.today,
        "valid_to": asker.take(flags["valid_to"], "--valid-to", "Valid to (a day)", parse_day, optional=True),
        "money": asker.take_choice(
            flags["money"], "--money", "Currency", dict.fromkeys(currencies), default=currencies[0]
        ),
        "tools": asker.take(
            flags["tools"], "--tools", "Tools (die=38000,trim=6500)", parse_number_pairs(None, "tool"), optional=True
        ),
        "pay": asker.take(flags["pay"], "--pay", "Payments (order=0.4,delivery=0.6)", parse_payments, optional=True),
        "piece": asker.take(flags["piece"], "--piece", "Pieces (800=6.90,3000=6.10)", parse_breaks),
        "weeks": number("weeks", "Weeks to first shots"),
        "yield": number("yield_", "Yield (share of good pieces)"),
        "least_order": number("least_order", "Least order"),
        "order": None if flags["order"] is None else number("order", "Pieces ordered at a time"),
        "life_shots": number("life_shots", "Life of the tool in shots"),
        "freight": number("freight", "Freight per piece"),
        "duty": number("duty", "Duty (share)"),
        "tool_duty": number("tool_duty", "Duty on tools (share)"),
        "secondary": number("secondary", "Outside operations per piece"),
        "samples": number("samples", "Samples"),
        "owns_tool": asker.take_choice(
            flags["owns_tool"], "--owns-tool", "Who owns the tool", [o.value for o in ToolOwner], optional=True
        ),
    }  # fmt: skip
    entry |= {name: flags[name] for name in ("storage", "drawings", "releases_tool")}
    entry["not_wanted"] = split_list(flags["not_wanted"]) if flags["not_wanted"] else None
    entry["covers"] = asker.take(
        flags["covers"], "--covers", "Features the price depends on (all, if left out)",
        parse_some_of(part.features, "feature"), optional=True,
    )  # fmt: skip
    return entry


def parse_breaks(text: str) -> dict[str, str]:
    """Return price breaks: order quantity -> price."""
    from pipeline.cli.answers import parse_count, parse_not_negative, parse_pairs

    pairs = parse_pairs(text)
    if not pairs:
        raise ValueError("write quantity=price, e.g. 800=6.90")
    return {str(parse_count(quantity)): parse_not_negative(price) for quantity, price in pairs.items()}


def parse_payments(text: str) -> list[dict[str, str]]:
    """Return payments: when, and the share; the shares add up to one."""
    from pipeline.cli.answers import parse_not_negative, parse_pairs
    from pipeline.cli.asking import choose

    known = ["order", "first shots", "approved finished samples", "delivery"]
    found = [
        {"at": choose(at.replace("-", " "), known), "share": parse_not_negative(share)}
        for at, share in parse_pairs(text).items()
    ]
    total = sum(float(one["share"]) for one in found)
    if abs(total - 1) > 1e-9:
        raise ValueError(f"the shares add up to {total:g}, not to 1")
    return found


def _take_kinds(asker: Asker, near: Near, tools: dict[str, Any], given: str | None) -> dict[str, str]:
    """Return the kinds of the tools that the record does not have yet."""
    from pipeline.cli.answers import parse_pairs

    part = near.part
    assert part is not None
    try:
        stated = parse_pairs(given) if given else {}
    except ValueError as error:
        raise click.UsageError(f"--tool-kinds: {error}") from None
    kinds = near.catalogues.tool_kinds.kinds
    usual = near.catalogues.families.families[part.family].tool_kinds
    found: dict[str, str] = {}
    for key in tools:
        if key not in part.tools:
            default = key if key in kinds else usual[0] if len(usual) == 1 else None
            kind = asker.take_choice(stated.get(key), "--tool-kinds", f"Kind of the tool {key}", kinds, default=default)
            found[key] = str(kind)
    return found


def _build_draft(near: Near, file: Path | None, entry: dict[str, Any], kinds: dict[str, str]) -> Draft:
    from pipeline.gates.quoted import find_unstated
    from pipeline.model.part import Quote
    from pipeline.portfolio.attaching import attach_several
    from pipeline.portfolio.entries import find_next_key, keep_given
    from pipeline.portfolio.proposal import Draft
    from pipeline.writing.flow_text import simplify
    from pipeline.writing.records import insert_entry

    part = near.part
    assert part is not None
    attachments, notes = attach_several(near, () if file is None else (file,))
    key = find_next_key(part, "quotes")
    given = keep_given({**entry, "file": attachments[0].path if attachments else None})
    tools = {name: kind for name, kind in kinds.items() if name not in part.tools}
    pointers: list[tuple[str, ...]] = [("quotes", key), *(("tools", name) for name in tools)]

    def edit(text: str) -> str:
        text = insert_entry(text, "quotes", key, given)
        for name, kind in tools.items():
            made: dict[str, Any] = {"kind": kind}
            if near.catalogues.tool_kinds.kinds[kind].gauge:
                made["checks"] = list(part.features)
            else:
                made["forms"] = list(part.features)
            made |= {"price": f"{entry['tools'][name]} {entry['money']}", "steps": {"quoted": entry["on"]}}
            text = insert_entry(text, "tools", name, keep_given(made))
        return text

    unstated = list(find_unstated(part, Quote.model_validate_json(_as_json(simplify(given)))))
    if unstated:
        notes = (*notes, f"{key} does not state {', '.join(unstated)}: ask, or name them in --not-wanted")
    if not attachments:
        notes = (*notes, f"{key} has no paper; `pipeline attach {near.number} FILE --to {key}` names it later")
    return Draft(edit, tuple(pointers), f"quote {key} of {entry['from']}", tuple(attachments), notes=notes)


def _as_json(value: Any) -> str:
    import json

    return json.dumps(value)
