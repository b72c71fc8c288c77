"""All rules, by id."""

from __future__ import annotations

from pipeline.findings.rule import Rule
from pipeline.findings.rules import editions, evidence, gates, history, links, measuring, money, shape, spend, text

GROUPS: tuple[tuple[str, tuple[Rule, ...]], ...] = (
    ("The text of a file", text.RULES),
    ("The shape of a record", shape.RULES),
    ("What a record points at", links.RULES),
    ("Evidence: files, days, proof, signatures", evidence.RULES),
    ("Measuring: points, readings, meshes, what the numbers can carry", measuring.RULES),
    ("Gates, decisions, waivers, safety", gates.RULES),
    ("What git knows: who recorded what, and when", history.RULES),
    ("Money: rates, quotes, volumes, prices", money.RULES),
    ("Tooling spend: budgets, either-ors, what is told to be in", spend.RULES),
    ("Editions: what leaves the house", editions.RULES),
)
RULES: tuple[Rule, ...] = tuple(sorted((rule for _, rules in GROUPS for rule in rules), key=lambda rule: rule.id))
BY_ID: dict[str, Rule] = {rule.id: rule for rule in RULES}
