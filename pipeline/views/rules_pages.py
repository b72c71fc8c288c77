"""The catalogue of rules and a page for each rule, with its examples and what breaks it today."""

from __future__ import annotations

from collections import Counter

from pipeline.findings.catalogue import GROUPS, RULES
from pipeline.findings.rule import Example, Past, Rule
from pipeline.portfolio.portfolio import Portfolio
from pipeline.views.addresses import RULES as RULES_PAGE
from pipeline.views.addresses import find_rule_page
from pipeline.views.findings_lines import build_finding_line, link_record
from pipeline.views.shapes_marks import Link
from pipeline.views.shapes_site import PageHead, RuleGroup, RuleLine, RulePage, RulesPage

SAME = "# the sample record as it is"
LETTERS_SHOWN = 1500
INTRO = (
    "Each rule has a bad example that breaks exactly this rule and a good one that breaks none; a test holds it so. "
    "The examples are sections of one sample record. A rule's id is never used again for anything else."
)


def build_rules_page(portfolio: Portfolio) -> RulesPage:
    """Make the catalogue, in groups, with how often each rule is broken today."""
    broken = Counter(finding.rule for finding in portfolio.findings)
    groups = tuple(
        RuleGroup(
            f"group-{at}",
            title,
            tuple(
                RuleLine(rule.id, rule.title, rule.severity.value, find_rule_page(rule.id), broken[rule.id])
                for rule in sorted(rules, key=lambda one: one.id)
            ),
        )
        for at, (title, rules) in enumerate(GROUPS, 1)
    )
    summary = f"Everything that the checker looks for, why, and how to mend it: {len(RULES)} rules."
    return RulesPage(PageHead("Rules", RULES_PAGE, summary, "rules"), INTRO, groups)


def build_rule_page(portfolio: Portfolio, rule: Rule) -> RulePage:
    """Make the page of one rule."""
    known = frozenset(portfolio.parts)
    found = tuple(build_finding_line(f, link_record(f, known)) for f in portfolio.findings if f.rule == rule.id)
    return RulePage(
        PageHead(f"{rule.id} {rule.title}", find_rule_page(rule.id), rule.why, "rules", (Link("Rules", RULES_PAGE),)),
        rule.id,
        rule.title,
        rule.severity.value,
        rule.why,
        _write_fix(rule.fix),
        write_example(rule.bad),
        write_example(rule.good),
        found,
        "No record breaks this rule today.",
    )


def _write_fix(fix: str) -> str:
    return fix[:1].upper() + fix[1:] + ("" if fix.endswith(".") else ".")


def write_example(example: Example) -> str:
    """Return an example as text: sections of the record, then other files by path; a very long one is cut short."""
    pieces = [_show(example.part)] if example.part else []
    for path, text in example.files.items():
        pieces.append(f"# {path}: taken away" if text is None else f"# {path}\n{_show(text)}")
    return "\n".join([*pieces, *_write_past(example.past)]) or SAME


def _write_past(past: tuple[Past, ...]) -> list[str]:
    """Return the commits that led to an example, one a line, as git would list them."""
    lines = ["# committed, each time as it stood that day:"] if past else []
    for commit in past:
        other = f", as of {commit.shows}" if commit.shows else ", as it was then" if commit.part or commit.files else ""
        signed = f", signature {commit.signature} (git's letter)" if commit.signature else ""
        lines.append(f"#   {commit.on} by {commit.by}{other}{signed}")
    return lines


def _show(text: str) -> str:
    """Return a text that a page can show; what is no letter is named by its number."""
    cut = "\n# and so on" if len(text) > LETTERS_SHOWN else ""
    text = text[:LETTERS_SHOWN].rstrip("\n")
    return "".join(c if c.isprintable() or c == "\n" else f"\\x{ord(c) & 0xFF:02x}" for c in text) + cut
