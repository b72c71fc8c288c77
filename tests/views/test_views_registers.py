"""The registers of suppliers, resources and tools: every figure reckoned by hand from small records."""

from __future__ import annotations

import datetime as dt
from collections.abc import Callable
from dataclasses import replace
from decimal import Decimal
from pathlib import Path
from types import SimpleNamespace
from typing import Any, cast

import pytest

from pipeline.model.words import GateState
from pipeline.planning.flow_ageing import AgeBand, OpenAge
from pipeline.portfolio.flow import compute_flow
from pipeline.portfolio.outlook import OUTLOOK, Outlook
from pipeline.portfolio.portfolio import Portfolio, build_portfolio
from pipeline.portfolio.tool_orders import ToolOrder, compute_tool_orders
from pipeline.sitegen.rendering import THEME, build_environment, render_page
from pipeline.views.csv_tables import join_line, render_table_csv, render_years_csv
from pipeline.views.home_page import build_home_page
from pipeline.views.registers_page import build_registers_page
from pipeline.views.resource_register import build_resource_register, find_trials
from pipeline.views.shapes_marks import Mark, Table, Tone
from pipeline.views.shapes_site import Section, SectionsPage
from pipeline.views.site_facts import build_site_facts
from pipeline.views.supplier_register import build_supplier_register
from pipeline.views.tool_register import build_tool_register
from pipeline.views.vehicles_page import build_vehicles_page

Sample = Callable[..., Path]
HOSTILE = '<script>alert(1)</script>"><img src=x onerror=alert(2)>'
SUPPLIERS = """\
suppliers:
  foundry: {name: The Foundry, does: [die, die-casting], country: domestic, promised_weeks: 12}
  lab: {name: the laboratory, accredited: hardness}
"""
ORDERED = """\
revisions:
  A: {on: 2025-12-20, by: ann, file: evidence/hook-a.stl, from: [M1, M2]}
  B: {on: 2026-04-20, by: ann, file: evidence/hook-a.stl, changed: [length], why: longer}
measurements:
  M1: {of: O1, on: 2025-12-10, by: ann, with: arm, at: 20 C, file: evidence/o1.csv, gives: {length: 40.02}}
  M2: {of: O2, on: 2025-12-10, by: ann, with: arm, at: 20 C, file: evidence/o2.csv, gives: {length: 39.99}}
quotes:
  Q0: {from: foundry, of: A, on: 2025-12-22, valid_to: 2026-01-04, money: USD, tools: {die: 8000}, piece: {500: 4.20}, weeks: 6}
  Q1: {from: foundry, of: A, on: 2026-01-02, valid_to: 2026-12-31, money: USD, tools: {die: 9000, gauge: 800}, piece: {500: 4.20}, weeks: 10}
tools:
  die: {kind: die, forms: [length], price: 9500 USD, by: foundry, owner: us, place: the foundry, life_shots: 50000, shots: 46000, steps: {quoted: 2026-01-02, ordered: 2026-01-05, cutting: 2026-01-19, accepted: 2026-04-06}}
  gauge: {kind: gauge, checks: [length], price: 800 USD, by: foundry, steps: {ordered: 2026-05-04, cutting: 2026-05-18}}
changes:
  C1: {found_at: first article, on: 2026-04-20, by: ann, what: too short, mode: dimension, features: [length], fixed_in: B, tool: die, class: metal-off, predicted: 500 USD, actual: 400 USD, weeks: 2}
  C2: {found_at: first article, on: 2026-05-20, by: ann, what: a burr, mode: appearance, tool: gauge, class: weld, predicted: 100 USD}
"""
HELD = """\
part: SD-101
name: Held hook
family: cast
safety: S0
engineer: ann
fits: {saloon: {vehicle: finch, body: saloon, years: 1951-1955}}
features:
  length: {what: overall length, kind: size, nominal: 40, limits: [-0.2, 0.2], unit: mm, critical: true}
revisions:
  A: {on: 2026-01-20, by: ann}
  B: {on: 2026-05-20, by: ann, changed: [length], why: shorter}
tools:
  die: {kind: die, forms: [length], price: 100 GBP, by: foundry, steps: {ordered: 2026-05-04}, cut_planned: 2026-06-15}
"""
OPEN = """\
part: SD-102
name: Open hook
family: cast
safety: S0
engineer: ann
fits: {estate: {vehicle: finch, body: estate, years: 1952-1956}}
features:
  length: {what: overall length, kind: size, nominal: 40, limits: [-0.2, 0.2], unit: mm, critical: true}
revisions:
  A: {on: 2026-01-20, by: ann}
quotes:
  Q1: {from: foundry, of: A, on: 2026-05-01, valid_to: 2026-06-20, money: USD, tools: {die: 1250}, piece: {500: 4.20}, weeks: 9}
  Q2: {from: lab, of: A, on: 2026-05-01, money: USD, tools: {die: 1400}, piece: {500: 4.20}}
"""
FILES = {
    "shared/suppliers.yaml": SUPPLIERS,
    "projects/SD-101/part.yaml": HELD,
    "projects/SD-102/part.yaml": OPEN,
}


def list_texts(table: Table) -> list[list[str]]:
    return [[join_line(cell.line) for cell in row.cells] for row in table.rows]


def find_section(page: SectionsPage, anchor: str) -> Section:
    return next(section for section in page.sections if section.anchor == anchor)


def find_order(portfolio: Portfolio, number: str, key: str) -> ToolOrder:
    return next(order for order in compute_tool_orders(portfolio.parts[number]) if order.key == key)


@pytest.fixture
def shop(sample: Sample) -> Portfolio:
    return build_portfolio(sample(ORDERED, FILES))


# --- promised against actual --------------------------------------------------------------------------


def test_an_order_is_held_against_the_offer_that_stood_on_its_day(shop: Portfolio) -> None:
    """Q0 had run out on the day before the order. 5 January to 6 April 2026 are 91 days; 10 weeks were promised."""
    die = find_order(shop, "SD-100", "die")
    assert (die.maker, die.quote, die.promised_weeks, die.promised_in) == ("foundry", "Q1", 10, "offer Q1")
    assert die.weeks == 13.0 and die.weeks_over == 3.0 and not die.is_late
    assert die.due == dt.date(2026, 3, 16)
    assert (die.quoted, die.price, die.changes_cost, die.cost) == (9000, 9500, 400, 9900)


def test_what_is_not_due_yet_is_over_nothing(shop: Portfolio) -> None:
    """Ordered on 4 May, 28 days before 1 June; a change without a cost yet counts as open, not as nought."""
    gauge = find_order(shop, "SD-100", "gauge")
    assert gauge.weeks == 4.0 and gauge.weeks_over is None and not gauge.is_late
    assert gauge.changes_cost == 0 and [one.actual for one in gauge.changes] == [None]


@pytest.mark.parametrize(("weeks", "late", "over"), [(3, True, 1.0), (4, False, None), (3.9, True, 0.1)])
def test_late_begins_after_the_promised_day(sample: Sample, weeks: float, late: bool, over: float | None) -> None:
    text = ORDERED.replace("weeks: 10}", f"weeks: {weeks}}}")
    gauge = find_order(build_portfolio(sample(text, FILES)), "SD-100", "gauge")
    assert gauge.is_late is late
    assert gauge.weeks_over == (None if over is None else pytest.approx(over))


def test_without_an_offer_the_tools_record_promises_then_the_supplier(sample: Sample, shop: Portfolio) -> None:
    assert find_order(shop, "SD-101", "die").promised_in == "the supplier's usual"
    assert find_order(shop, "SD-101", "die").promised_weeks == 12
    own = HELD.replace("cut_planned", "weeks: [4, 6, 9], cut_planned")
    portfolio = build_portfolio(sample(ORDERED, {**FILES, "projects/SD-101/part.yaml": own}))
    die = find_order(portfolio, "SD-101", "die")
    assert (die.promised_weeks, die.promised_in) == (6, "the tool's record")
    assert die.due == dt.date(2026, 6, 15)


def test_a_changed_tool_of_another_record_is_told_with_the_tool(sample: Sample) -> None:
    user = OPEN + (
        "uses_tools: [SD-100/die]\n"
        "changes:\n  C9: {found_at: released, on: 2026-05-30, by: ann, what: worn, mode: dimension, tool: die, "
        "class: weld, predicted: 50 USD, actual: 75 USD}\n"
    )
    portfolio = build_portfolio(sample(ORDERED, {**FILES, "projects/SD-102/part.yaml": user}))
    die = find_order(portfolio, "SD-100", "die")
    assert [(one.number, one.key) for one in die.changes] == [("SD-100", "C1"), ("SD-102", "C9")]
    assert die.changes_cost == Decimal(475)
    rows = list_texts(find_section(build_tool_register(portfolio), "all").tables[0])
    assert rows[0][0] == "SD-100 die, used by SD-102"


# --- suppliers ----------------------------------------------------------------------------------------


def test_suppliers_side_by_side(shop: Portfolio) -> None:
    """Over the offer: 9,500 + 400 - 9,000, and 800 - 800; over the promise: 3 weeks of the one that can be told."""
    page = build_supplier_register(shop)
    rows = {row[0]: row[1:] for row in list_texts(find_section(page, "overview").tables[0])}
    assert rows["The Foundry"] == ["die and die casting", "1", "20 Jun 2026", "1 of 3", "+3.0", "+900", "2", "400", "1"]
    assert rows["the laboratory"] == ["–", "1", "none states a day", "–", "–", "–", "–", "–", "–"]
    assert [(t.count, t.words) for t in page.tallies] == [
        ("2", "open offers"), ("2", "of them need the buyer"), ("0", "tools are late"),
    ]  # fmt: skip


def test_one_supplier_with_its_tables(shop: Portfolio) -> None:
    section = find_section(build_supplier_register(shop), "supplier-foundry")
    assert section.aside == "1 open offer, 3 tools ordered, 2 changes, 1 tool there"
    assert join_line(section.intro) == "Does die and die casting; domestic; usually promises 12 weeks."
    offers, promises, changes, there = (list_texts(table) for table in section.tables)
    assert offers == [
        ["SD-102 Open hook", "Q1", "A", "1 May 2026", "20 Jun 2026", "19", "1,250 USD", "9", "runs out in 19 days"]
    ]
    assert promises[0] == [
        "SD-100 die", "casting die", "5 Jan 2026", "10", "13.0", "+3.0", "6 Apr 2026", "9,000", "9,500", "400", "+900",
        "offer Q1",
    ]  # fmt: skip
    assert promises[1][4:7] == ["4.0 so far", "–", "cutting"] and promises[1][9:11] == ["1 open", "0"]
    assert changes[0] == [
        "SD-100 C1", "20 Apr 2026", "die", "too short", "first article", "500", "400", "80 %", "2",
    ]  # fmt: skip
    assert changes[1][6:8] == ["no cost yet", "–"]
    assert there == [["SD-100 die", "casting die", "accepted", "ours", "46,000 of 50,000", "9,500"]]
    assert len({table.csv_href for table in section.tables}) == 4


def test_an_offer_that_was_ordered_on_in_time_is_not_stale(sample: Sample) -> None:
    text = ORDERED.replace("valid_to: 2026-12-31", "valid_to: 2026-02-01").replace(
        "steps: {ordered: 2026-05-04, cutting: 2026-05-18}", ""
    )
    text = text.replace(
        "  B: {on: 2026-04-20, by: ann, file: evidence/hook-a.stl, changed: [length], why: longer}\n", ""
    )
    page = build_supplier_register(build_portfolio(sample(text.replace("fixed_in: B, ", ""), FILES)))
    offers = find_section(page, "supplier-foundry").tables[0]
    row = next(row for row in offers.rows if join_line(row.cells[0].line).startswith("SD-100"))
    assert row.cells[0].mark is Mark.IN_HAND
    assert join_line(row.cells[-1].line) == "ordered on before it ran out"


def test_a_supplier_that_only_a_record_names_is_told_so(sample: Sample) -> None:
    unknown = OPEN.replace("from: lab", "from: nobody")
    portfolio = build_portfolio(sample(ORDERED, {**FILES, "projects/SD-102/part.yaml": unknown}))
    assert any(finding.record == "SD-102" for finding in portfolio.findings)
    names = [row[0] for row in list_texts(find_section(build_supplier_register(portfolio), "overview").tables[0])]
    assert "nobody not in the catalogue" in names


# --- tools --------------------------------------------------------------------------------------------


def test_every_tool_with_place_owner_shots_and_revision(shop: Portfolio) -> None:
    rows = list_texts(find_section(build_tool_register(shop), "all").tables[0])
    assert rows[0] == [
        "SD-100 die", "casting die", "forms overall length", "accepted", "ours", "the foundry", "46,000 of 50,000",
        "9,500", "5 Jan 2026", "16 Mar 2026", "6 Apr 2026", "A, superseded (now B)",
    ]  # fmt: skip
    assert rows[1] == [
        "SD-100 gauge", "check gauge", "checks overall length", "cutting", "not stated", "being made: The Foundry", "–",
        "800", "4 May 2026", "13 Jul 2026", "–", "B, current",
    ]  # fmt: skip
    assert rows[2][3] == "on hold" and rows[2][7] == "no rate: 100 GBP"


def test_what_is_on_hold_stands_first_and_loud(shop: Portfolio) -> None:
    page = build_tool_register(shop)
    table = find_section(page, "loud").tables[0]
    rows = list_texts(table)
    assert [row[0] for row in rows] == ["SD-101 die", "SD-100 die"]
    assert rows[0][2] == "on hold"
    assert rows[0][3].startswith("ask The Foundry to wait, to be cut 15 Jun 2026: ")
    assert "revision B changed overall length" in rows[0][3]
    assert rows[1][2] == "superseded, worn"
    assert "46,000 shots made of 50,000" in rows[1][3]
    assert [row.cells[0].mark for row in table.rows] == [Mark.STALE, Mark.STALE]
    assert table.rows[0].cells[2].line[0].tone is Tone.FLAG
    assert [tally.count for tally in page.tallies] == ["1", "2", "0", "1", "3"]


def test_an_accepted_tool_without_a_place_is_asked_for(sample: Sample) -> None:
    page = build_tool_register(build_portfolio(sample(ORDERED.replace("place: the foundry, ", ""), FILES)))
    assert list_texts(find_section(page, "all").tables[0])[0][5] == "not on record"
    lacking = [row[:3:2] for row in list_texts(find_section(page, "lacking").tables[0])]
    assert lacking == [
        ["SD-100 die", "no place"],
        ["SD-100 gauge", "owner not stated"],
        ["SD-101 die", "owner not stated"],
    ]


# --- resources ----------------------------------------------------------------------------------------

WAITING = """\
part: SD-{number}
name: Waiting {number}
family: cast
safety: S0
engineer: {who}
opened: {day}
fits: {{saloon: {{vehicle: finch, body: saloon, years: 1951-1955}}}}
"""
RESOURCES = """\
resources:
  arm-1: {name: measuring arm, hours_per_week: 20, used_in: [measure], hours_each: [2, 4, 6], limit: 1}
  dark: {name: dark room, hours_per_week: 0, used_in: [measure], hours_each: [1, 1, 1]}
  idle: {name: idle bench, hours_per_week: 5}
instruments:
  arm: {name: measuring arm, mpe_mm: 0.02, calibrated: 2025-06-01, due: 2026-12-01}
"""


def write_queue(sample: Sample) -> Portfolio:
    files = {
        "shared/resources.yaml": RESOURCES,
        "projects/SD-201/part.yaml": WAITING.format(number=201, day="2026-05-18", who="ann"),
        "projects/SD-202/part.yaml": WAITING.format(number=202, day="2026-05-04", who="bob"),
    }
    return build_portfolio(sample("", files))


def test_who_waits_is_told_in_turn_with_hours_and_weeks(sample: Sample) -> None:
    """Mean of [2, 4, 6] is 4 h each: 8 h at 20 h a week are 0.4 weeks, the first done after 0.2; 4 May is first."""
    portfolio = write_queue(sample)
    page = build_resource_register(portfolio, compute_flow(portfolio))
    rows = list_texts(find_section(page, "overview").tables[0])
    assert rows[0] == ["dark room", "no hours", "2", "0", "2", "–", "SD-202 Waiting 202", "Bob"]
    assert rows[1] == ["measuring arm", "0.4", "8", "20", "2", "1", "SD-202 Waiting 202", "Bob"]
    assert rows[2] == ["idle bench", "0.0", "0", "5", "0", "–", "–", "–"]
    arm = find_section(page, "resource-arm-1")
    assert list_texts(arm.tables[0]) == [
        ["1", "SD-202 Waiting 202", "measure", "4 May 2026", "4.0", "4.0", "0.2", "Bob"],
        ["2", "SD-201 Waiting 201", "measure", "18 May 2026", "2.0", "4.0", "0.4", "Ann"],
    ]
    assert "2 parts are there, 1 is the limit." in join_line(arm.intro)
    dark = list_texts(find_section(page, "resource-dark").tables[0])
    assert [row[6] for row in dark] == ["–", "–"]
    assert [tally.count for tally in page.tallies] == ["2", "1"]


def test_what_each_engineer_leads_adds_up(sample: Sample) -> None:
    portfolio = write_queue(sample)
    flow = compute_flow(portfolio)
    assert flow is not None
    rows = {
        row[0]: row[1:]
        for row in list_texts(find_section(build_resource_register(portfolio, flow), "engineers").tables[0])
    }
    assert rows["Ann"][:7] == ["2", "1", "–", "–", "–", "1", "–"]  # SD-201 at measure, the sample at quote
    assert rows["Bob, not an engineer in the shop"][:2] == ["1", "1"]
    assert sum(int(row[0]) for row in rows.values()) == len(flow.open_stays)


def test_trials_name_the_vehicles_of_the_right_years_and_those_that_lack_one(sample: Sample) -> None:
    """The saloon of 1953 lies within 1951-1955; no vehicle of an estate of 1955-1956 is in the yard (1954)."""
    text = "fits:\n  saloon: {vehicle: finch, body: saloon, years: 1951-1955}\n  late: {vehicle: finch, body: estate, years: 1955-1956}\n"
    text += "fit_checks: {}\ndecisions:\n" + "".join(
        f"  - {{gate: {gate}, on: 2026-02-{day}, by: bob, say: go}}\n"
        for gate, day in (("measure", 10), ("model", 11), ("prototype", 12))
    )
    portfolio = build_portfolio(sample(text))
    assert [(one.application, one.cars) for one in find_trials(portfolio)] == [("saloon", ("car-1",)), ("late", ())]
    section = find_section(build_resource_register(portfolio, compute_flow(portfolio)), "vehicles")
    assert section.aside == "2 trials wanted now"
    assert join_line(section.intro) == "No vehicle is there for SD-100 on late."
    assert list_texts(section.tables[0]) == [
        ["car-1", "Finch saloon", "1953", "1", "1", "SD-100", ""],
        ["car-2", "Finch estate", "1954", "1", "–", "–", ""],
    ]


# --- the way there, and bad input -----------------------------------------------------------------------


def test_registers_lead_everywhere_and_count(shop: Portfolio) -> None:
    made = (build_supplier_register(shop), build_resource_register(shop, compute_flow(shop)), build_tool_register(shop))
    table = build_registers_page(shop, made).sections[0].tables[0]
    addresses = [row.cells[0].line[0].href for row in table.rows]
    assert addresses == ["suppliers.html", "resources.html", "tools.html", "buying.html", "vehicles.html"]
    assert join_line(table.rows[2].cells[1].line).startswith("1 on hold, 2 made to what was superseded, 0 late")
    assert "registers.html" in [item.href for item in build_site_facts(shop).nav]


def test_a_workspace_that_cannot_be_read_says_what_to_do(sample: Sample) -> None:
    portfolio = build_portfolio(sample(files={"shared/suppliers.yaml": "suppliers: [\n"}))
    assert portfolio.workspace is None
    pages = (build_supplier_register(portfolio), build_resource_register(portfolio), build_tool_register(portfolio))
    for page in (*pages, build_registers_page(portfolio, pages)):
        assert page.sections == () and len(join_line(page.intro)) > 20


def test_empty_catalogues_say_what_would_fill_them(sample: Sample) -> None:
    bare = {
        "shared/suppliers.yaml": "suppliers: {}\n",
        "shared/resources.yaml": "resources: {}\ninstruments:\n  arm: {name: arm, calibrated: 2025-06-01, due: 2026-12-01}\n",
    }
    portfolio = build_portfolio(sample("quotes: {}\ntools: {}\n", bare))
    assert "shared/suppliers.yaml" in join_line(build_supplier_register(portfolio).intro)
    assert "under tools:" in join_line(build_tool_register(portfolio).intro)
    assert "shared/resources.yaml" in join_line(build_resource_register(portfolio, compute_flow(portfolio)).intro)
    assert "pipeline decide" in join_line(build_resource_register(portfolio).intro)


def test_hostile_names_stay_text_in_pages_and_tables(sample: Sample) -> None:
    suppliers = SUPPLIERS.replace("name: The Foundry", f"name: {HOSTILE!r}").replace(
        "country: domestic", "country: '=cmd()'"
    )
    text = ORDERED.replace("place: the foundry", "place: '=HYPERLINK(\"http://x.invalid\")'").replace(
        "what: too short", f"what: {HOSTILE!r}"
    )
    portfolio = build_portfolio(sample(text, {**FILES, "shared/suppliers.yaml": suppliers}))
    environment = build_environment([THEME], build_site_facts(portfolio), str)
    pages = (
        build_supplier_register(portfolio),
        build_resource_register(portfolio, compute_flow(portfolio)),
        build_tool_register(portfolio),
    )
    for page in (*pages, build_registers_page(portfolio, pages)):
        html = render_page(environment, "sections.html", page, page.head.href)
        assert "<script>alert" not in html and "<img src=x" not in html
        assert 'href="http' not in html
    csv = render_table_csv(find_section(pages[2], "all").tables[0])
    assert "\"'=HYPERLINK(" in csv and ",=HYPERLINK" not in csv and ',"=HYPERLINK' not in csv


# --- vehicles by year, home -----------------------------------------------------------------------------


def test_years_in_which_nothing_differs_stand_together_and_holes_show(shop: Portfolio) -> None:
    """The saloon was built 1950-1956, the estate 1952-1956; two parts fit saloons of 1951-1955, one all estates."""
    finch = build_vehicles_page(shop).vehicles[0]
    assert finch.by_year_head == ("1950", "1951", "1952–1955", "1956")
    saloon, estate = finch.by_year
    assert [cell.words for cell in saloon.cells] == ["no part", "0 of 2, 1 stale", "0 of 2, 1 stale", "no part"]
    assert [cell.mark for cell in saloon.cells][::3] == [Mark.MISSING, Mark.MISSING]
    assert [cell.words for cell in estate.cells] == ["not built", "not built", "0 of 1", "0 of 1"]
    assert saloon.cells[1].href == "parts/index.html?vehicle=Finch&body=saloon&year=1951"
    assert render_years_csv(finch).splitlines()[0] == "body,1950,1951,1952–1955,1956"


def test_home_tells_who_leads_a_part_that_outlasts_its_like(shop: Portfolio) -> None:
    stuck = OpenAge("SD-102", "quote", 31.0, 0.93, 10.0, 14.0, AgeBand.STUCK)
    slow = OpenAge("SD-101", "quote", 12.0, 0.6, 10.0, 14.0, AgeBand.SLOW)
    decided = OpenAge("SD-100", "quote", 40.0, 0.99, 10.0, 14.0, AgeBand.STUCK)  # its decision is due: that is told
    shop.parts["SD-100"] = replace(
        shop.parts["SD-100"], standing=replace(shop.parts["SD-100"].standing, state=GateState.READY)
    )
    file = shop.parts["SD-102"]
    file.shop.kept[OUTLOOK] = Outlook(cast(Any, None), None, cast(Any, SimpleNamespace(ages=(stuck, slow, decided))))
    (ann,) = (desk for desk in build_home_page(shop).desks if desk.key == "ann")
    found = [need for need in ann.needs if need.kind == "ageing"]
    assert [(need.part.text, join_line(need.line), need.due) for need in found] == [
        ("SD-102", "at quote for 31.0 weeks; 85 % of its like were through in 14.0", "17.0 weeks over")
    ]
