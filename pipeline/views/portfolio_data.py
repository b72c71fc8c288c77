"""The whole portfolio as one document of plain data, and the JSON Schema that says what it holds."""

from __future__ import annotations

from typing import Any

from pipeline.costing.calibration import ShopFactor
from pipeline.costing.ranges import Range
from pipeline.costing.stages import Stage
from pipeline.findings.finding import Finding, Severity
from pipeline.gates.judgement import Met
from pipeline.lineage.coverage import CellState, compute_coverage
from pipeline.lineage.freshness import Cause
from pipeline.model.words import GateState, Hand, LadderStage, Result, SafetyLevel, ToolStep
from pipeline.portfolio.flow_forecast import find_day
from pipeline.portfolio.outlook import find_outlook
from pipeline.portfolio.portfolio import PartFile, Portfolio
from pipeline.views.flow_forecasts import list_weaknesses

FORMAT = "repro-pipeline portfolio 1"


def build_portfolio_data(portfolio: Portfolio) -> dict[str, Any]:
    """Return everything that the pages derive, as plain data: days as text, money and weeks as numbers."""
    workspace = portfolio.workspace
    return {
        "format": FORMAT,
        "maker": None if workspace is None else workspace.catalogues.shop.name,
        "as_of": None if workspace is None else workspace.today.isoformat(),
        "currency": None if workspace is None else workspace.catalogues.money.currency,
        "parts": [_build_part(file) for file in portfolio.parts.values()],
        "findings": [_build_finding(finding) for finding in portfolio.findings],
    }


def _build_finding(finding: Finding) -> dict[str, Any]:
    return {
        "rule": finding.rule,
        "severity": finding.severity.value,
        "path": finding.location.path,
        "line": finding.location.line,
        "column": finding.location.column,
        "record": finding.record,
        "message": finding.message,
        "fix": finding.fix,
    }


def _build_part(file: PartFile) -> dict[str, Any]:
    part, standing = file.part, file.standing
    return {
        "number": part.part,
        "name": part.name,
        "family": part.family,
        "safety": part.safety.value,
        "engineer": part.engineer,
        "confidential": part.confidential,
        "synthetic": part.synthetic,
        "revision": file.lineage.current,
        "state": standing.state.value,
        "gate": None if standing.gate is None else standing.gate.value,
        "released": standing.released,
        "last_evidence": None if standing.last_evidence is None else standing.last_evidence.isoformat(),
        "fits": [
            {
                "application": key,
                "vehicle": fit.vehicle,
                "body": fit.body,
                "first": fit.years.first,
                "last": fit.years.last,
            }
            for key, fit in part.fits.items()
        ],
        "coverage": [
            {"application": c.application, "hand": c.hand.value, "state": c.state.value, "fit_check": c.check}
            for c in compute_coverage(part, file.lineage).cells
        ],
        "gates": {gate.value: _build_gate(file, gate) for gate in standing.gates},
        "hold_calls": [{"tool": call.tool, "words": call.words} for call in standing.hold_calls],
        "next": list(standing.todo),
        "features": [_build_feature(file, key) for key in part.features],
        "evidence": [_build_evidence(file, node_id) for node_id in file.lineage.nodes],
        "tools": [_build_tool(file, key) for key in part.tools],
        "cost_of_change": _build_costs(file),
        "forecast": _build_forecast(file),
    }


def _build_forecast(file: PartFile) -> dict[str, Any] | None:
    """Return the days by which a part in work is likely done; None where nothing is forecast for it."""
    outlook = find_outlook(file)
    flow = None if outlook is None else outlook.flow
    forecast = None if flow is None else flow.forecasts.get(file.number)
    if flow is None or forecast is None:
        return None
    weeks = (forecast.median, forecast.promise, forecast.early, forecast.late)
    likely, sure, early, late = (find_day(one, flow.day).isoformat() for one in weeks)
    weak = list_weaknesses(flow, forecast)
    return {"likely": likely, "sure": sure, "early": early, "late": late, "weak": weak}


def _build_gate(file: PartFile, gate: Any) -> dict[str, Any]:
    standing = file.standing.gates[gate]
    return {
        "state": standing.state.value,
        "requirements": [
            {
                "id": r.id,
                "met": r.state.value,
                "words": r.answer.words,
                "have": r.answer.have,
                "want": r.answer.want,
                "todo": list(r.answer.todo),
            }
            for r in standing.requirements
        ],
        "decided": None if standing.decision is None else standing.decision.on.isoformat(),
        "decision": None if standing.decision is None else standing.decision.say.value,
    }


def _build_feature(file: PartFile, key: str) -> dict[str, Any]:
    feature = file.part.features[key]
    limits = feature.limits
    return {
        "key": key,
        "what": feature.what,
        "kind": feature.kind.value,
        "critical": feature.critical,
        "nominal": feature.nominal,
        "lower": None if limits is None else limits.lower,
        "upper": None if limits is None else limits.upper,
        "unit": feature.unit,
        "readings": [
            {"measurement": m, "original": entry.of, "value": entry.gives[key].value,
             "unit": entry.gives[key].unit or feature.unit, "worn": entry.gives[key].worn}
            for m, entry in file.part.measurements.items()
            if key in entry.gives
        ],
    }  # fmt: skip


def _build_evidence(file: PartFile, node_id: str) -> dict[str, Any]:
    node = file.lineage.nodes[node_id]
    reasons = file.lineage.reasons.get(node_id, ())
    result = getattr(getattr(file.part, node.section)[node.key], "result", None)
    return {
        "id": node_id,
        "on": None if node.on is None else node.on.isoformat(),
        "revision": node.base,
        "covers": list(node.covers),
        "made_from": list(node.parents),
        "files": list(node.files),
        "result": None if result is None else result.value,
        "fresh": not reasons,
        "stale_because": [{"cause": r.cause.value, "words": r.words, "features": list(r.features)} for r in reasons],
    }


def _build_tool(file: PartFile, key: str) -> dict[str, Any]:
    tool = file.part.tools[key]
    return {
        "key": key,
        "kind": tool.kind,
        "state": None if tool.state is None else tool.state.value,
        "price": None if tool.price is None else {"amount": float(tool.price.amount), "currency": tool.price.currency},
        "forms": list(tool.forms),
        "made_to_fit": list(tool.made_to_fit),
    }


def _build_costs(file: PartFile) -> dict[str, Any] | None:
    """Return the ladder of the whole part; None where the tools wait for each other in a ring."""
    if file.ladder is None:
        return None
    ladder = file.ladder.part
    stages = [
        {
            "stage": stage.words,
            "cost": _build_range(ladder.find_rung(stage).total),
            "weeks": _build_range(ladder.find_rung(stage).weeks),
            "whole": ladder.find_rung(stage).is_whole,
        }
        for stage in Stage
    ]
    today = None if ladder.today.stage is None else ladder.today.stage.words
    return {
        "stages": stages,
        "today": {"stage": today, "cost": _build_range(ladder.today.total)},
        "calibrated": _build_calibrated(file),
    }


def _build_calibrated(file: PartFile) -> dict[str, Any] | None:
    """Return the shop's own factors in the costs, and the costs without them; None where none is used."""
    if not file.is_calibrated or file.estimated_ladder is None:
        return None
    rungs = file.estimated_ladder.part.rungs
    return {
        "factors": [_build_factor(one) for one in file.factors.values()],
        "weeks_factors": [_build_factor(one) for one in file.weeks_factors.values()],
        "estimated": [_build_range(rung.total) for rung in rungs],
        "estimated_weeks": [_build_range(rung.weeks) for rung in rungs],
    }


def _build_factor(one: ShopFactor) -> dict[str, Any]:
    return {
        "tool_kind": one.tool_kind, "class": one.change_class, "factor": round(one.factor, 4),
        "low": round(one.low, 4), "high": round(one.high, 4), "changes": one.cases,
    }  # fmt: skip


def _build_range(found: Range) -> dict[str, float]:
    return {name: round(float(value), 4) for name, value in zip(("low", "likely", "high"), found, strict=True)}


# --- the schema -----------------------------------------------------------------------------------

_TEXT = {"type": "string"}
_DAY = {"type": ["string", "null"], "pattern": r"^\d{4}-\d{2}-\d{2}$"}
_NUMBER = {"type": "number"}
_FLAG = {"type": "boolean"}
_PLACE = {"type": "integer", "minimum": 1}
_YEAR = {"type": "integer"}


def _one_of(words: Any, null: bool = False) -> dict[str, Any]:
    return {"enum": [word.value for word in words] + ([None] if null else [])}


def _list(item: dict[str, Any]) -> dict[str, Any]:
    return {"type": "array", "items": item}


def _record(**fields: dict[str, Any]) -> dict[str, Any]:
    """Return the schema of an object in which every field is always there."""
    return {"type": "object", "properties": fields, "required": list(fields), "additionalProperties": False}


def _maybe(kind: str) -> dict[str, Any]:
    return {"type": [kind, "null"]}


def build_portfolio_schema() -> dict[str, Any]:
    """Return the JSON Schema (draft 2020-12) of the portfolio document."""
    return {
        "$schema": "https://json-schema.org/draft/2020-12/schema",
        "title": "A portfolio of reproduction parts",
        "description": "Money in `currency` unless a currency stands beside it; weeks in weeks; days as YYYY-MM-DD.",
        **_record(
            format={"const": FORMAT},
            maker=_maybe("string"),
            as_of=_DAY,
            currency=_maybe("string"),
            parts=_list(_describe_part()),
            findings=_list(
                _record(
                    rule=_TEXT, severity=_one_of(Severity), path=_TEXT, line=_PLACE, column=_PLACE, record=_TEXT,
                    message=_TEXT, fix=_TEXT,
                )
            ),
        ),
    }  # fmt: skip


def _describe_part() -> dict[str, Any]:
    span = _record(low=_NUMBER, likely=_NUMBER, high=_NUMBER)
    stages = {"enum": [stage.value for stage in LadderStage]}
    return _record(
        number=_TEXT,
        name=_TEXT,
        family=_TEXT,
        safety=_one_of(SafetyLevel),
        engineer=_TEXT,
        confidential=_FLAG,
        synthetic=_FLAG,
        revision=_maybe("string"),
        state=_one_of(GateState),
        gate=_maybe("string"),
        released=_FLAG,
        last_evidence=_DAY,
        fits=_list(_record(application=_TEXT, vehicle=_TEXT, body=_TEXT, first=_YEAR, last=_YEAR)),
        coverage=_list(
            _record(application=_TEXT, hand=_one_of(Hand), state=_one_of(CellState), fit_check=_maybe("string"))
        ),
        gates={"type": "object", "additionalProperties": _describe_gate()},
        hold_calls=_list(_record(tool=_TEXT, words=_TEXT)),
        next=_list(_TEXT),
        features=_list(_describe_feature()),
        evidence=_list(_describe_evidence()),
        tools=_list(
            _record(
                key=_TEXT, kind=_TEXT, state=_one_of(ToolStep, null=True),
                price={"anyOf": [{"type": "null"}, _record(amount=_NUMBER, currency=_TEXT)]}, forms=_list(_TEXT),
                made_to_fit=_list(_TEXT),
            )
        ),
        cost_of_change={
            "anyOf": [
                {"type": "null"},
                _record(
                    stages=_list(_record(stage=stages, cost=span, weeks=span, whole=_FLAG)),
                    today=_record(stage={"anyOf": [stages, {"type": "null"}]}, cost=span),
                    calibrated={"anyOf": [{"type": "null"}, _describe_calibrated(span)]},
                ),
            ]
        },
        forecast={
            "anyOf": [{"type": "null"}, _record(likely=_DAY, sure=_DAY, early=_DAY, late=_DAY, weak=_list(_TEXT))],
            "description": "likely: half of the futures are done by it; sure: 85 %; early to late: 85 % end between.",
        },
    )  # fmt: skip


def _describe_calibrated(span: dict[str, Any]) -> dict[str, Any]:
    factor = _record(
        tool_kind=_TEXT, **{"class": _TEXT}, factor=_NUMBER, low=_NUMBER, high=_NUMBER, changes={"type": "integer"}
    )
    return _record(
        factors=_list(factor), weeks_factors=_list(factor), estimated=_list(span), estimated_weeks=_list(span)
    )


def _describe_gate() -> dict[str, Any]:
    requirement = _record(
        id=_TEXT, met=_one_of(Met), words=_TEXT, have=_maybe("number"), want=_maybe("number"), todo=_list(_TEXT)
    )
    decision = {"enum": ["go", "rework", "hold", "drop", None]}
    return _record(state=_one_of(GateState), requirements=_list(requirement), decided=_DAY, decision=decision)


def _describe_feature() -> dict[str, Any]:
    reading = _record(measurement=_TEXT, original=_TEXT, value=_NUMBER, unit=_TEXT, worn=_FLAG)
    return _record(
        key=_TEXT, what=_TEXT, kind=_TEXT, critical=_FLAG, nominal=_NUMBER, lower=_maybe("number"),
        upper=_maybe("number"), unit=_TEXT, readings=_list(reading),
    )  # fmt: skip


def _describe_evidence() -> dict[str, Any]:
    reason = _record(cause=_one_of(Cause), words=_TEXT, features=_list(_TEXT))
    return _record(
        id=_TEXT, on=_DAY, revision=_maybe("string"), covers=_list(_TEXT), made_from=_list(_TEXT), files=_list(_TEXT),
        result=_one_of(Result, null=True), fresh=_FLAG, stale_because=_list(reason),
    )  # fmt: skip
