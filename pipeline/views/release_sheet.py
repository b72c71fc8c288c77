"""The tooling release sheet: one page to sign, with every blocker, waiver, exposure, quote, payment and caution."""

from __future__ import annotations

import datetime as dt
from collections.abc import Iterator
from dataclasses import dataclass, replace
from decimal import Decimal
from urllib.parse import quote as quote_address

from pipeline.costing.stages import Stage
from pipeline.gates.judgement import Answer, Met
from pipeline.gates.standing import REQUIREMENTS, is_waiver_live
from pipeline.model.part import Tool, Waiver
from pipeline.model.words import GATES, Gate, GateState, Role, Say, ToolOwner
from pipeline.portfolio.case import build_part_case, compute_case_result
from pipeline.portfolio.errors import compute_part_errors
from pipeline.portfolio.loop import compute_loop_advice, find_late, find_no_advice
from pipeline.portfolio.portfolio import PartFile
from pipeline.portfolio.quotes import compute_one_footing
from pipeline.portfolio.tooling_cash import compute_tooling_cash
from pipeline.views.addresses import PARTS, find_part_page, name_gate_anchor
from pipeline.views.case import is_before_tooling
from pipeline.views.change_cost import render_span
from pipeline.views.money_words import (
    build_row,
    build_table,
    find_currency,
    word_cents,
    word_left,
    word_weeks,
    word_whole,
)
from pipeline.views.part_gates import word_decision
from pipeline.views.part_head import build_cautions, build_hold, build_title_block
from pipeline.views.shapes_marks import Caution, Cell, Column, Line, Link, Mark, Row, Run, Table, Tone, build_line
from pipeline.views.shapes_part import HoldCall, TitleBlock
from pipeline.views.shapes_site import PageHead
from pipeline.views.states import build_bench, name_person, name_supplier
from pipeline.views.wording import word_count, word_day, word_list, word_money, word_share

_OWNERS = {
    ToolOwner.US: "ours",
    ToolOwner.SUPPLIER: "the supplier's",
    ToolOwner.SHARED: "shared",
    ToolOwner.NOT_STATED: "not stated",
}


@dataclass(frozen=True)
class SignatureLine:
    """One line to sign: the role, what the signature says, and the people who may give it."""

    role: str
    says: str
    people: str


@dataclass(frozen=True)
class ReleaseSheet:
    """The tooling release sheet of one part. Template ``release.html`` takes it.

    verdict : whether it may be signed. release : the release on record, in words, empty where there is none.
    """

    head: PageHead
    block: TitleBlock
    verdict: Line
    may_sign: bool
    hold: HoldCall | None
    blockers: Table
    waivers: Table
    exposure: Table
    exposure_note: Line
    quote: Line
    cash: Table
    tools: Table
    changes: Table
    case: Line
    loop: Line
    cautions: tuple[Caution, ...]
    signatures: tuple[SignatureLine, ...]
    release: str
    back: Link


def find_release_sheet(number: str) -> str:
    """Return the address of a part's release sheet.

    >>> find_release_sheet("TW-101")
    'releases/TW-101.html'
    """
    return f"releases/{quote_address(number)}.html"


def build_release_sheet(file: PartFile) -> ReleaseSheet:
    """Make the sheet. It never says that a part is safe, and software never signs it."""
    blockers = build_blockers(file)
    may_sign = not blockers.rows and not file.standing.hold_calls and not file.standing.is_dropped
    number, name = file.number, file.part.name
    return ReleaseSheet(
        head=PageHead(
            f"Tooling release {number}",
            find_release_sheet(number),
            f"Tooling release of {name}, to be signed",
            "parts",
            (Link("Parts", PARTS), Link(number, find_part_page(number))),
        ),
        block=build_title_block(file),
        verdict=_say_verdict(file, blockers, may_sign),
        may_sign=may_sign,
        hold=build_hold(file),
        blockers=blockers,
        waivers=build_waivers(file),
        exposure=build_exposure(file),
        exposure_note=_say_exposure(file),
        quote=_say_quote(file),
        cash=build_cash_by_milestone(file),
        tools=build_tool_list(file),
        changes=build_change_costs(file),
        case=_say_case(file),
        loop=_say_loop(file),
        cautions=_pick_cautions(file),
        signatures=tuple(_list_signatures(file)),
        release=_word_release(file),
        back=Link(f"The page of {number}", find_part_page(number)),
    )


def _say_verdict(file: PartFile, blockers: Table, may_sign: bool) -> Line:
    if file.standing.is_dropped:
        return build_line(Run("Not to be signed: the part is dropped.", Tone.FLAG))
    if may_sign:
        return build_line(Run("Every gate before tooling is proven and nothing blocks the release.", Tone.STRONG))
    hold = word_count(len(file.standing.hold_calls), "hold call") if file.standing.hold_calls else ""
    found = word_count(len(blockers.rows), "thing") if blockers.rows else ""
    words = " and ".join(one for one in (hold, found) if one)
    return build_line(Run(f"Not to be signed yet: {words} in the way.", Tone.FLAG))


# --- what is in the way ---------------------------------------------------------------------------


def build_blockers(file: PartFile) -> Table:
    """Make the list of what blocks the release: requirements of unproven gates, and what the release itself wants."""
    columns = (Column("gate"), Column("what is lacking"), Column("what would mend it"))
    rows = tuple(_list_blockers(file))
    return replace(
        build_table("What is in the way", columns, rows, "Nothing: every gate before tooling is proven."), folds=True
    )


def _list_blockers(file: PartFile) -> Iterator[Row]:
    told: set[str] = set()
    said: set[tuple[Gate, str]] = set()
    for gate in GATES[:-1]:
        standing = file.standing.gates[gate]
        if standing.state is GateState.PROVEN:
            continue
        for requirement in standing.open_requirements:
            told.add(requirement.id)
            if (gate, requirement.answer.words) in said:  # "no offer yet" once, not for each of its requirements
                continue
            said.add((gate, requirement.answer.words))
            stale = requirement.state is Met.STALE
            yield _build_blocker(file, gate, requirement.answer, "went stale: " if stale else "", stale)
        if not standing.open_requirements:
            yield _build_undecided(file, gate, standing.state)
        for fault in standing.faults:
            yield build_row(
                (_link_gate(file, gate), f"the decision does not count: {fault.split(': ', 1)[-1]}", "decide again")
            )
    bench = build_bench(file)
    for name, need in file.workspace.catalogues.gates.release.needs.items():
        if name not in told and name in REQUIREMENTS:
            answer = REQUIREMENTS[name](replace(bench, need=need))
            if not answer.met:
                yield _build_blocker(file, None, answer, "", False)


def _link_gate(file: PartFile, gate: Gate | None) -> Line:
    if gate is None:
        return build_line("the release")
    return build_line(Run(gate.value, href=find_part_page(file.number, name_gate_anchor(gate))))


def _build_blocker(file: PartFile, gate: Gate | None, answer: Answer, before: str, stale: bool) -> Row:
    first = Cell(_link_gate(file, gate), Mark.STALE if stale else Mark.MISSING)
    return Row((first, Cell(build_line(before + answer.words)), Cell(build_line(word_list(answer.todo, 2) or "–"))))


def _build_undecided(file: PartFile, gate: Gate, state: GateState) -> Row:
    policy = file.workspace.catalogues.gates.gates[gate]
    words = "held" if state is GateState.HELD else "evidence is in hand and nobody has decided"
    return build_row((_link_gate(file, gate), words, f"decision by the {' or the '.join(policy.decided_by)}"))


def build_waivers(file: PartFile) -> Table:
    """Make the list of waivers with what they may cost and when they end; those that ran out are flagged."""
    columns = (
        Column("waived"),
        Column("until"),
        Column("exposure", "", True),
        Column("at the risk of"),
        Column("instead"),
    )
    rows = [_build_waiver(file, waiver) for waiver in file.part.waivers]
    return replace(build_table("Waivers", columns, rows, "None."), folds=True)


def _build_waiver(file: PartFile, waiver: Waiver) -> Row:
    live = is_waiver_live(file.part, waiver, file.workspace.today)
    barred = waiver.of in file.workspace.catalogues.gates.cannot_be_waived
    until = waiver.until if isinstance(waiver.until, str) else word_day(waiver.until)
    state = "" if live and not barred else " (cannot be waived)" if barred else " (ran out)"
    exposure = word_money(waiver.exposure.amount, waiver.exposure.currency)
    risk = name_person(file.workspace.catalogues, waiver.risk)
    ended = (Run(until), Run(state, Tone.FLAG)) if state else (Run(until),)
    return build_row((waiver.of, ended, exposure, risk, waiver.instead))


# --- exposure -------------------------------------------------------------------------------------


def build_exposure(file: PartFile) -> Table:
    """Make the exposure by failure mode: errors left, chance of none, money at stake; no chance over all of them."""
    currency, errors = find_currency(file), compute_part_errors(file)
    saving = None if file.ladder is None else _find_saving(file)
    rows = []
    for row in errors.rows:
        left, none = word_left(row.remaining.mean, row.remaining.chance_of_none)
        money = "–" if saving is None else word_whole(row.remaining.mean * float(saving))
        seen = "no check so far" if row.is_unseen else word_list([one.check.split(",")[0] for one in row.saw], 3)
        rows.append(build_row((row.mode.value, left, none, money, (Run(seen, Tone.FLAG),) if row.is_unseen else seen)))
    columns = (
        Column("failure mode"),
        Column("errors left", "", True),
        Column("none", "chance", True),
        Column("at stake", currency, True),
        Column("seen by"),
    )
    return replace(
        build_table("What is probably still wrong", columns, rows, "The family says nothing of usual errors."),
        folds=True,
    )


def _find_saving(file: PartFile) -> Decimal:
    if file.ladder is None:
        return Decimal(0)
    return max(Decimal(0), find_late(file).total.likely - file.ladder.part.today.total.likely)


def _say_exposure(file: PartFile) -> Line:
    errors = compute_part_errors(file)
    if not errors.rows or file.ladder is None:
        return ()
    total = sum(row.remaining.mean for row in errors.rows) * float(_find_saving(file))
    words = f"In all {word_whole(total)} {find_currency(file)} at stake: "
    words += "errors left x (cost found in tooling - cost found now). "
    if errors.open_changes:
        words += f"Known and not corrected: {'; '.join(errors.open_changes)}. "
    return build_line(Run(words, Tone.SOFT))


# --- money ----------------------------------------------------------------------------------------


def _say_quote(file: PartFile) -> Line:
    footing, currency = compute_one_footing(file), find_currency(file)
    key = footing.leading
    if key is None:
        return build_line(Run("No quote can be reckoned with.", Tone.FLAG))
    offer, row = file.part.quotes[key], footing.find_row(key)
    supplier = name_supplier(file.workspace.catalogues, offer.from_)
    state = "chosen" if key == footing.chosen else "NOT chosen yet; the best there is"
    valid = "states no last day" if offer.valid_to is None else f"valid to {word_day(offer.valid_to)}"
    runs = [Run(f"{key} of {supplier}, {state}", Tone.STRONG), Run(f"; revision {offer.of}, {valid}")]
    if offer.weeks is not None:
        runs.append(Run(f", {word_weeks(offer.weeks)} weeks"))
    if row is not None:
        runs.append(Run(f". Landed {word_cents(row.footing.landed_good, currency)} {currency} a good piece. "))
        runs += [Run(f"{one[:1].upper()}{one[1:]}. ", Tone.FLAG) for one in row.obstacles]
    return tuple(runs)


def build_cash_by_milestone(file: PartFile) -> Table:
    """Make the tooling payments still to come, one line for each milestone and day, if ordered today."""
    currency, cash = find_currency(file), compute_tooling_cash(file)
    sums: dict[tuple[dt.date, str], Decimal] = {}
    for line in cash.due:
        sums[(line.on, line.what)] = sums.get((line.on, line.what), Decimal(0)) + line.amount
    rows = [
        build_row((word_day(on), what, word_cents(amount, currency))) for (on, what), amount in sorted(sums.items())
    ]
    if rows:
        rows.append(build_row(("total", "", word_cents(cash.total, currency)), strong=True))
    if cash.spent:
        rows.append(build_row(("already paid", "", word_cents(cash.spent, currency))))
    columns = (Column("on"), Column("milestone"), Column("cash out", currency, True))
    return build_table("Cash by milestone, if ordered today", columns, rows, "No tooling money is left to be paid.")


def build_tool_list(file: PartFile) -> Table:
    """Make the list of tools with price, owner and life."""
    columns = (
        Column("tool"),
        Column("state"),
        Column("price", "", True),
        Column("owner"),
        Column("life", "shots", True),
    )
    rows = [_build_tool(file, key, tool) for key, tool in file.part.tools.items()]
    rows += [build_row((use, "kept in another record", "–", "–", "–")) for use in file.part.uses_tools]
    return replace(build_table("Tools", columns, rows, "No tool is on record."), folds=True)


def _build_tool(file: PartFile, key: str, tool: Tool) -> Row:
    kind = file.workspace.catalogues.tool_kinds.kinds.get(tool.kind)
    footing = compute_one_footing(file)
    offer = file.part.quotes.get(footing.leading or "")
    owner = tool.owner
    if owner is ToolOwner.NOT_STATED and offer is not None and key in offer.tools:
        owner = offer.owns_tool
    life = tool.life_shots or (None if kind is None else kind.life_shots)
    price = "–" if tool.price is None else word_money(tool.price.amount, tool.price.currency)
    shown = _OWNERS[owner]
    return build_row(
        (
            f"{key}, {tool.kind if kind is None else kind.name.lower()}",
            "not quoted" if tool.state is None else tool.state.value,
            price,
            (Run(shown, Tone.FLAG),) if owner is not ToolOwner.US else shown,
            "–" if life is None else f"{life:,}" + ("" if tool.life_shots else " usual"),
        )
    )


def build_change_costs(file: PartFile) -> Table:
    """Make what one change costs: today, and after each step that this signature opens."""
    columns = (Column("one change found"), Column("costs", find_currency(file), True), Column("weeks", "", True))
    if file.ladder is None:
        return build_table("What one change costs", columns, (), "The tools wait for each other in a ring.")
    ladder = file.ladder.part
    figures = [("today", ladder.today)]
    today = ladder.today.stage
    steps = (Stage.TOOL_ORDERED, Stage.TOOL_CUT, Stage.FIRST_ARTICLE, Stage.RELEASED)
    figures += [(f"at {stage.words}", ladder.find_rung(stage)) for stage in steps if today is None or stage > today]
    rows = [
        build_row(
            (
                name,
                render_span(figure.total) + (" at least" if figure.missing else ""),
                word_weeks(float(figure.weeks.likely)),
            )
        )
        for name, figure in figures
    ]
    return build_table("What one change costs, now and after", columns, rows, "")


def _say_case(file: PartFile) -> Line:
    found, result, currency = build_part_case(file), compute_case_result(file), find_currency(file)
    if result is None:
        return build_line(Run(f"No case: {found.lack}", Tone.FLAG))
    worth = result.worth
    words = f"Present worth {word_whole(worth.mean or 0.0)} {currency} on average, P10 {word_whole(worth.p10 or 0.0)}, "
    words += f"P90 {word_whole(worth.p90 or 0.0)}; chance of a loss {word_share(round(result.chance_of_loss, 4))}; "
    words += "payback never" if result.payback is None else f"payback {result.payback:.1f} years"
    words += " (before any tool is paid)" if is_before_tooling(file) else ""
    words += f". {result.draws:,} worlds, seed {result.seed}."
    runs = [Run(words)]
    if found.waits_for:
        runs.append(Run(f" Earns nothing before {word_list(found.waits_for)} is released.", Tone.FLAG))
    return tuple(runs)


def _say_loop(file: PartFile) -> Line:
    advice = compute_loop_advice(file)
    if advice is None:
        return build_line(find_no_advice(file))
    currency, best = find_currency(file), advice.best
    if best.net <= 0:
        words = f"No further look pays: the best, {best.name}, costs on average {word_whole(-best.net)} {currency} "
        return build_line(f"{words}more than it saves.")
    words = f"One more look pays before signing: {best.name}, {word_whole(best.net)} {currency} net on average, "
    return build_line(Run(words + f"{word_weeks(best.weeks)} weeks.", Tone.FLAG))


# --- cautions and signatures ----------------------------------------------------------------------


def _pick_cautions(file: PartFile) -> tuple[Caution, ...]:
    """Return all cautions of a part that can hurt someone, the first two of another, and the standing one."""
    found = build_cautions(file)
    serious = tuple(one for one in found if one.strong)
    chosen = serious or found[:2]
    words = "Nothing on this sheet says that the part is safe. Local codes and licensed practice decide; "
    words += "tests are made by a competent laboratory."
    return (*chosen, Caution("A signature releases money.", words, strong=bool(serious)))


def _list_signatures(file: PartFile) -> Iterator[SignatureLine]:
    policy = file.workspace.catalogues.gates.release
    owners = " or ".join(policy.decided_by)
    yield SignatureLine(owners, "I release this money.", _name_people(file, policy.decided_by))
    yield SignatureLine("lead", "The gates before tooling are proven as shown.", _name_people(file, (Role.LEAD,)))
    yield SignatureLine(
        "second signature", "I have looked at it and am not one of the two above.", "another person of the shop"
    )


def _name_people(file: PartFile, roles: tuple[Role, ...]) -> str:
    today = file.workspace.today
    people = file.workspace.catalogues.people.people.values()
    names = [one.name for one in people if set(one.roles) & set(roles) and (one.until is None or one.until >= today)]
    return word_list(names, 3) or "nobody has this role"


def _word_release(file: PartFile) -> str:
    release = file.standing.release
    if release is None:
        return ""
    said = "released" if release.say is Say.GO else release.say.value
    return f"On record: {said}. {word_decision(file, release)}."
