"""Findings as text for a person, JSON for a program, SARIF 2.1.0 for a review system."""

from __future__ import annotations

import json
import re
from collections import Counter
from collections.abc import Iterable, Sequence
from typing import Any
from urllib.parse import quote

from pipeline.findings.finding import SEVERITY_ORDER, Finding, Location, Severity, escape_hidden, place_message
from pipeline.findings.rule import Rule

_UNSEEN = re.compile("[\x7f-\x9f\u00ad\u061c\u200b-\u200f\u2028-\u202e\u2060-\u206f\ud800-\udfff\ufeff]")
SARIF_LEVEL = {Severity.ERROR: "error", Severity.WARNING: "warning", Severity.NOTE: "note"}


def sort_findings(findings: Iterable[Finding]) -> tuple[Finding, ...]:
    """Return the findings by place, without repeats."""
    return tuple(sorted(set(findings), key=lambda f: f.sort_key))


def render_text(findings: Sequence[Finding]) -> str:
    """Return two lines a finding: place, severity, rule, message; then the fix."""
    lines: list[str] = []
    for finding in findings:
        place = escape_hidden(str(finding.location))
        lines.append(f"{place}: {finding.severity} {finding.rule} {place_message(finding)}")
        lines.extend(
            f"    see: {escape_hidden(f'{related.location} {related.message}')}" for related in finding.related
        )
        lines.append(f"    fix: {finding.fix}")
    return "\n".join(lines)


def render_summary(findings: Sequence[Finding], records: int, broken: int) -> str:
    """Return one sentence that counts records and findings."""
    count = Counter(finding.severity for finding in findings)
    parts = [f"{count[s]} {s}{'' if count[s] == 1 else 's'}" for s in SEVERITY_ORDER]
    left_out = f", {broken} of them unreadable and left out" if broken else ""
    return f"{records} record{'' if records == 1 else 's'}{left_out}: {', '.join(parts)}"


def _location_as_dict(location: Location) -> dict[str, Any]:
    return {"path": location.path, "line": location.line, "column": location.column}


def build_json(findings: Sequence[Finding], records: int, broken: int) -> dict[str, Any]:
    """Return the findings as plain data."""
    return {
        "format": "repro-pipeline findings 1",
        "records": records,
        "broken": broken,
        "findings": [
            {
                "rule": f.rule,
                "severity": f.severity.value,
                **_location_as_dict(f.location),
                "record": f.record,
                "pointer": f.pointer,
                "message": f.message,
                "fix": f.fix,
                "related": [{**_location_as_dict(r.location), "message": r.message} for r in f.related],
            }
            for f in findings
        ],
    }


def _build_uri(path: str) -> str:
    """Return a path as a URI reference (RFC 3986), as SARIF 2.1.0, 3.4.3 wants it."""
    return quote(path, safe="/", errors="surrogateescape")


def _sarif_place(location: Location) -> dict[str, Any]:
    return {
        "physicalLocation": {
            "artifactLocation": {"uri": _build_uri(location.path), "uriBaseId": "WORKSPACE"},
            "region": {"startLine": location.line, "startColumn": location.column},
        }
    }


def build_sarif(findings: Sequence[Finding], rules: Sequence[Rule], version: str) -> dict[str, Any]:
    """Return the findings as SARIF 2.1.0 (OASIS standard)."""
    used = sorted({f.rule for f in findings})
    by_id = {rule.id: rule for rule in rules}
    return {
        "$schema": "https://docs.oasis-open.org/sarif/sarif/v2.1.0/errata01/os/schemas/sarif-schema-2.1.0.json",
        "version": "2.1.0",
        "runs": [
            {
                "tool": {
                    "driver": {
                        "name": "repro-pipeline",
                        "version": version,
                        "rules": [
                            {
                                "id": rule_id,
                                "shortDescription": {"text": by_id[rule_id].title},
                                "fullDescription": {"text": by_id[rule_id].why},
                                "help": {"text": by_id[rule_id].fix},
                            }
                            for rule_id in used
                        ],
                    }
                },
                "columnKind": "unicodeCodePoints",
                "originalUriBaseIds": {"WORKSPACE": {"description": {"text": "folder with projects/ and shared/"}}},
                "results": [
                    {
                        "ruleId": f.rule,
                        "ruleIndex": used.index(f.rule),
                        "level": SARIF_LEVEL[f.severity],
                        "message": {"text": f"{f.message}. Fix: {f.fix}"},
                        "locations": [_sarif_place(f.location)],
                        "relatedLocations": [
                            {**_sarif_place(r.location), "message": {"text": r.message}} for r in f.related
                        ],
                    }
                    for f in findings
                ],
            }
        ],
    }


def render_json(data: Any) -> str:
    """Return plain data as JSON text, keys in the order given; what cannot be seen is written as an escape."""
    text = json.dumps(data, ensure_ascii=False, indent=2)
    return _UNSEEN.sub(lambda match: json.dumps(match.group())[1:-1], text)
