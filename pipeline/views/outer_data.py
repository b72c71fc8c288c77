"""An edition as one document of plain data, and the JSON Schema that says what it holds."""

from __future__ import annotations

from typing import Any

from pipeline.portfolio.outer_part import OuterCatalogue, OuterFit, OuterGap, OuterPart, OuterStage, OuterState
from pipeline.portfolio.outer_part import OuterTrialState as Trial

FORMAT = "repro-pipeline parts 1"
_TEXT = {"type": "string"}
_NUMBER = {"type": "number"}
_YEAR = {"type": "integer"}
_MAYBE_NUMBER = {"type": ["number", "null"]}


def build_outer_data(catalogue: OuterCatalogue) -> dict[str, Any]:
    """Return all that an edition says, as plain data. What it does not say is null, empty or an empty list."""
    shop = catalogue.shop
    return {
        "format": FORMAT,
        "maker": shop.maker,
        "edition": shop.edition,
        "as_of": shop.today.isoformat(),
        "note": shop.note,
        "parts": [_build_part(part) for part in catalogue.parts],
    }


def _build_part(part: OuterPart) -> dict[str, Any]:
    price, hands, marking = part.price, part.hands, part.marking
    return {
        "number": part.number,
        "name": part.name,
        "state": part.state.value,
        "announced": None if part.announced is None else part.announced.isoformat(),
        "stage": None if part.stage is None else part.stage.name.lower(),
        "expected": part.expected or None,
        "family": part.family,
        "safety": {
            "level": part.safety.level,
            "name": part.safety.name,
            "meaning": part.safety.meaning,
            "caution": part.safety.caution,
        },
        "regulations": [
            {"system": r.system, "number": r.number, "subject": r.subject, "seen": r.seen} for r in part.regulations
        ],
        "hazards": [{"name": hazard.name, "care": hazard.care} for hazard in part.hazards],
        "fits": [_build_fit(fit) for fit in part.fits],
        "hands": None if hands is None else {"left": hands.left, "right": hands.right},
        "replaces": list(part.replaces),
        "price": None
        if price is None
        else {"amount": float(price.amount), "currency": price.currency, "planned": price.planned},
        "picture": None if part.picture is None else f"pictures/{part.picture.name}",
        "marking": None if marking is None else {"kind": marking.kind, "text": marking.text, "where": marking.where},
        "contents": [{"number": one.number, "name": one.name, "count": one.count} for one in part.contents],
        "fitting": [_build_gap(gap) for gap in part.fitting],
        "trials": [{**_build_fit(t.fit), "hand": t.hand, "state": t.state.value} for t in part.trials],
        "synthetic": part.synthetic,
    }


def _build_fit(fit: OuterFit) -> dict[str, Any]:
    return {"vehicle": fit.vehicle, "body": fit.body, "first": fit.first, "last": fit.last}


def _build_gap(gap: OuterGap) -> dict[str, Any]:
    features = [
        {"what": f.what, "nominal": f.nominal, "lower": f.lower, "upper": f.upper, "unit": f.unit} for f in gap.features
    ]
    return {"what": gap.what, "lower": gap.lower, "upper": gap.upper, "unit": gap.unit, "features": features}


# --- the schema ---------------------------------------------------------------------------------------


def _one_of(*words: str) -> dict[str, Any]:
    return {"enum": list(words)}


def _list(item: dict[str, Any]) -> dict[str, Any]:
    return {"type": "array", "items": item}


def _record(**fields: dict[str, Any]) -> dict[str, Any]:
    """Return the schema of an object in which every field is always there."""
    return {"type": "object", "properties": fields, "required": list(fields), "additionalProperties": False}


def _or_null(schema: dict[str, Any]) -> dict[str, Any]:
    return {"anyOf": [{"type": "null"}, schema]}


def build_outer_schema() -> dict[str, Any]:
    """Return the JSON Schema (draft 2020-12) of the document."""
    day = {"type": "string", "pattern": r"^\d{4}-\d{2}-\d{2}$"}
    fit = {"vehicle": _TEXT, "body": _TEXT, "first": _YEAR, "last": _YEAR}
    feature = _record(what=_TEXT, nominal=_NUMBER, lower=_MAYBE_NUMBER, upper=_MAYBE_NUMBER, unit=_TEXT)
    part = _record(
        number=_TEXT,
        name=_TEXT,
        state=_one_of(*(state.value for state in OuterState)),
        announced=_or_null(day),
        stage=_or_null(_one_of(*(stage.name.lower() for stage in OuterStage))),
        expected=_or_null({"type": "string", "pattern": r"^\d{4}-Q[1-4]$"}),
        family=_TEXT,
        safety=_record(level=_TEXT, name=_TEXT, meaning=_TEXT, caution=_TEXT),
        regulations=_list(_record(system=_TEXT, number=_TEXT, subject=_TEXT, seen=_TEXT)),
        hazards=_list(_record(name=_TEXT, care=_TEXT)),
        fits=_list(_record(**fit)),
        hands=_or_null(_record(left=_TEXT, right=_TEXT)),
        replaces=_list(_TEXT),
        price=_or_null(_record(amount=_NUMBER, currency=_TEXT, planned={"type": "boolean"})),
        picture=_or_null({"type": "string", "pattern": "^pictures/[^/]+$"}),
        marking=_or_null(_record(kind=_TEXT, text=_TEXT, where=_TEXT)),
        contents=_list(_record(number=_TEXT, name=_TEXT, count={"type": "integer", "minimum": 1})),
        fitting=_list(
            _record(what=_TEXT, lower=_MAYBE_NUMBER, upper=_MAYBE_NUMBER, unit=_TEXT, features=_list(feature))
        ),
        trials=_list(_record(**fit, hand=_TEXT, state=_one_of(*(state.value for state in Trial)))),
        synthetic={"type": "boolean"},
    )
    return {
        "$schema": "https://json-schema.org/draft/2020-12/schema",
        "title": "Reproduction parts of one maker, as one edition tells of them",
        "description": "What an edition does not say is null, empty or an empty list. A quarter is an estimate.",
        **_record(
            format={"const": FORMAT},
            maker=_TEXT,
            edition=_TEXT,
            as_of=day,
            note=_TEXT,
            parts=_list(part),
        ),
    }
