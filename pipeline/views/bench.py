"""What the commands of the bench show: the person at the machine, what a change costs, the tooling release sheet."""

from __future__ import annotations

import textwrap
from collections.abc import Iterator, Mapping, Sequence
from decimal import Decimal
from typing import Any

from pipeline.costing.impact import Impact, compute_impact
from pipeline.costing.paths import Cycle
from pipeline.costing.ranges import render_number
from pipeline.costing.stages import parse_stage
from pipeline.findings.finding import escape_hidden
from pipeline.findings.rule import Rule
from pipeline.gates.judgement import Met
from pipeline.gates.quoted import find_chosen
from pipeline.lineage.graph import find_affected
from pipeline.model.catalogue import Catalogues
from pipeline.model.part import Decision, Part
from pipeline.model.words import GATES
from pipeline.portfolio.money import convert_money, convert_price
from pipeline.portfolio.portfolio import PartFile
from pipeline.views.change_cost import render_amount, render_impact, render_span
from pipeline.views.open_cells import find_cars, find_open_cells
from pipeline.views.states import name_person, name_supplier

WIDE = 78


def find_person(catalogues: Catalogues, email: str | None) -> str | None:
    """Return the id of the person with this e-mail address (shared/people.yaml), None where there is none."""
    if email is None:
        return None
    for key, person in catalogues.people.people.items():
        if any(one.casefold() == email.casefold() for one in person.emails):
            return key
    return None


def find_stale_to_be(file: PartFile, changed: Sequence[str]) -> tuple[str, ...]:
    """Return the evidence (node ids) that a change to these features would make stale."""
    return find_affected(file.lineage, changed) if changed else ()


def _find_impact(file: PartFile, changed: Sequence[str]) -> Impact | None:
    basis = file.basis
    return None if isinstance(basis, Cycle) or not changed else compute_impact(basis, changed, None)


def render_effect(file: PartFile, changed: Sequence[str]) -> list[str]:
    """Return what a change would make stale, and what redoing that costs, as lines for the terminal."""
    affected = find_stale_to_be(file, changed)
    lines = [f"A change to {', '.join(changed)} makes stale:"]
    for node_id in affected:
        node = file.lineage.nodes[node_id]
        touched = [f for f in changed if f in node.covers]
        lines.append(f"  {node.label}: covers {', '.join(touched)}")
    if not affected:
        lines = [f"A change to {', '.join(changed)} makes no evidence stale that counts today."]
    impact = _find_impact(file, changed)
    if impact is None:
        return [*lines, "What it costs cannot be reckoned: the tools wait for each other in a ring."]
    return [*lines, "", *render_impact(file, impact)]


def predict_change(file: PartFile, changed: Sequence[str], found_at: str) -> str | None:
    """Return the likely cost of a change found at a stage, as a record writes money; None where it is not known.

    It is the cost as estimated, without the shop's own factors: those are learnt from how far estimates were off, and
    would count twice in a prediction that held them already.
    """
    basis = file.estimated_basis
    if isinstance(basis, Cycle) or not changed:
        return None
    impact = compute_impact(basis, changed, parse_stage(found_at))
    if impact.figure.missing:
        return None
    return f"{impact.figure.direct.likely.quantize(Decimal(1))} {file.workspace.catalogues.money.currency}"


def predict_change_weeks(file: PartFile, changed: Sequence[str], found_at: str) -> str | None:
    """Return the likely weeks of a change found at a stage, as estimated; None where they are not known or none."""
    basis = file.estimated_basis
    if isinstance(basis, Cycle) or not changed:
        return None
    weeks = compute_impact(basis, changed, parse_stage(found_at)).figure.weeks.likely
    shown = render_number(weeks.quantize(Decimal("0.1")))
    return None if weeks == 0 else shown.replace(",", "")


def build_release_sheet(file: PartFile, decision: Decision) -> list[str]:
    """Return the tooling release sheet as plain text, to print and to sign."""
    shop = file.workspace.catalogues.shop.name
    lines = ["=" * WIDE, f"TOOLING RELEASE   {shop}", "=" * WIDE]
    lines += [f"Part        {file.number}  {file.part.name}", f"Revision    {_describe_revision(file)}"]
    lines += [f"Safety      {_describe_safety(file)}", f"Released on {decision.on}", ""]
    lines += ["Gates", *_list_gates(file), "", "Tools", *_list_tools(file), ""]
    lines += ["Chosen quote", *_describe_quote(file), ""]
    waived = list(_list_waivers(file))
    lines += ["Set aside by waiver", *(waived or ["  nothing"]), ""]
    lines += ["If a change is found after this", *_list_later_costs(file), ""]
    if decision.why:
        lines += [f"Why: {decision.why}", ""]
    lines += [*_list_cautions(file), ""]
    second = "" if decision.second is None else name_person(file.workspace.catalogues, decision.second)
    lines.append(_sign("Released by", name_person(file.workspace.catalogues, decision.by)))
    if second:
        lines.append(_sign("Second signature", second))
    return [*lines, "=" * WIDE]


def _sign(role: str, name: str) -> str:
    return f"{role:<17} {name:<20} date ____________ signed ______________"


def _describe_revision(file: PartFile) -> str:
    current = file.lineage.current
    if current is None:
        return "none"
    revision = file.part.revisions[current]
    return f"{current} of {revision.on}" + (f", {revision.file}" if revision.file else "")


def _describe_safety(file: PartFile) -> str:
    found = file.workspace.catalogues.safety.classes.get(file.part.safety)
    return str(file.part.safety) if found is None else f"{found.name}: {found.meaning}"


def _list_gates(file: PartFile) -> Iterator[str]:
    for gate in GATES[:-1]:
        standing = file.standing.gates[gate]
        decided = standing.decision
        who = "not decided" if decided is None else f"{decided.say} on {decided.on} by {decided.by}"
        second = f", second {decided.second}" if decided is not None and decided.second is not None else ""
        yield f"  {gate:<12} {standing.state:<20} {who}{second}"


def _list_tools(file: PartFile) -> Iterator[str]:
    total, unknown = Decimal(0), []
    currency = file.workspace.catalogues.money.currency
    chosen = find_chosen(file.part)
    quote = file.part.quotes.get(chosen) if chosen is not None else None
    names = dict.fromkeys((*file.part.tools, *(quote.tools if quote is not None else ())))
    for key in names:
        tool = file.part.tools.get(key)
        if quote is not None and key in quote.tools:
            price = convert_money(file.rates, quote.tools[key], quote.money, file.workspace.today)
        else:
            price = None if tool is None else convert_price(file.rates, tool.price, file.workspace.today)
        total += price or Decimal(0)
        unknown += [key] if price is None else []
        kind = "" if tool is None else tool.kind
        shown = "price not known" if price is None else f"{render_amount(price)} {currency}"
        yield f"  {key:<14} {kind:<20} {shown:>18}"
    least = "at least " if unknown else ""
    yield f"  {'together':<35} {least + render_amount(total) + ' ' + currency:>18}"


def _describe_quote(file: PartFile) -> Iterator[str]:
    chosen = find_chosen(file.part)
    if chosen is None:
        yield "  none"
        return
    quote = file.part.quotes[chosen]
    supplier = name_supplier(file.workspace.catalogues, quote.from_)
    yield f"  {chosen} of {supplier}, {quote.on}, on revision {quote.of}, valid to {quote.valid_to or 'not stated'}"
    yield f"  tools belong to: {quote.owns_tool}; weeks: {'not stated' if quote.weeks is None else f'{quote.weeks:g}'}"
    if quote.pay:
        yield "  paid " + ", ".join(f"{p.share:.0%} at {p.at}" for p in quote.pay)


def _list_waivers(file: PartFile) -> Iterator[str]:
    for standing in file.standing.gates.values():
        for requirement in standing.requirements:
            waiver = requirement.waiver
            if requirement.state is Met.WAIVED and waiver is not None:
                yield f"  {waiver.of} until {waiver.until}, risk {waiver.risk}, up to {waiver.exposure}: {waiver.why}"
                yield f"    instead: {waiver.instead}"


def _list_later_costs(file: PartFile) -> Iterator[str]:
    ladder = file.ladder
    if ladder is None:
        yield "  cannot be reckoned"
        return
    currency = file.workspace.catalogues.money.currency
    for rung in ladder.part.rungs:
        if rung.stage is not None and rung.stage.words in ("quote", "tool ordered", "tool cut", "first article"):
            yield f"  found at {rung.stage.words:<14} {render_span(rung.total)} {currency}"


def _list_cautions(file: PartFile) -> Iterator[str]:
    found = file.workspace.catalogues.safety.classes.get(file.part.safety)
    yield "This sheet says what was recorded and decided. It does not say that the part is safe."
    if found is not None:
        yield f"Caution: {found.caution}"


def find_first_open_cell(file: PartFile) -> tuple[str | None, str | None]:
    """Return the application and the hand that should be tried next, (None, None) where all are good."""
    cells = find_open_cells(file)
    return (cells[0].application, cells[0].hand.value) if cells else (None, None)


def describe_open_cells(file: PartFile) -> list[str]:
    """Return what is still to be tried, a line for each application and hand."""
    cells = find_open_cells(file)
    if not cells:
        return ["Every application and hand has a good fit check."]
    hands = {cell: "" if cell.hand.value == "none" else f", {cell.hand}" for cell in cells}
    return ["Still to be tried:", *(f"  {c.application}{hands[c]}: {c.state}" for c in cells)]


def find_cars_for(file: PartFile, application: str | None) -> list[str]:
    """Return the vehicles on which an application can be tried; all of them where none fits it."""
    cars = file.workspace.catalogues.vehicles.cars
    return list(find_cars(file.workspace.catalogues, file.part, application or "")) or list(cars)


def describe_gaps(part: Part, checks: Mapping[str, Mapping[str, Any]]) -> list[str]:
    """Return a line for each measured gap outside its limits."""
    lines = []
    for key, check in checks.items():
        for name, gaps in (check.get("gaps") or {}).items():
            found = part.interfaces.get(name)
            wrong = [gap for gap in gaps if found is not None and not found.gap.limits.is_inside(float(gap))]
            if found is not None and wrong:
                limits = found.gap.limits
                values = f"{', '.join(map(str, wrong))} {found.gap.unit}"
                lines.append(f"{key}: {name} {values} is outside {limits.lower} to {limits.upper}")
    return lines


def render_rule(rule: Rule) -> str:
    """Return a rule in full: what it wants, why, the way out, and an example of each kind."""
    lines = [f"{rule.id}  {rule.title}  ({rule.severity})", "", *textwrap.wrap(rule.why, WIDE), ""]
    lines += [*textwrap.wrap(f"Fix: {rule.fix}.", WIDE)]
    for word, example in (("Bad", rule.bad), ("Good", rule.good)):
        shown = [line for line in example.part.rstrip("\n").splitlines() if line.strip()]
        shown += [line for path, text in example.files.items() for line in _show_file(path, text)]
        if shown:
            lines += ["", f"{word}:", *(f"    {escape_hidden(line)}" for line in shown)]
    return "\n".join(lines)


def _show_file(path: str, text: str | None) -> list[str]:
    return [f"{path} is not there"] if text is None else [f"{path}:", *(f"  {line}" for line in text.splitlines()[:20])]


def render_rule_list(rules: Sequence[Rule]) -> str:
    """Return a line for each rule."""
    return "\n".join(f"{rule.id}  {rule.severity.value:<8} {rule.title}" for rule in rules)


def build_rule_dict(rule: Rule) -> dict[str, Any]:
    """Return a rule as plain data."""
    return {"id": rule.id, "severity": rule.severity.value, "title": rule.title, "why": rule.why, "fix": rule.fix,
            "bad": rule.bad.part, "good": rule.good.part}  # fmt: skip
