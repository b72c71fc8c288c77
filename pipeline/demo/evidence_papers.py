"""Papers of the invented evidence: test reports, offers, process settings, first articles, safety notes."""

from __future__ import annotations

import numpy as np

from pipeline.demo.evidence_points import build_seed, spread_readings
from pipeline.model.part import FirstArticle, Part, Quote, Test


def build_report(part: Part, key: str, test: Test) -> str:
    """Return a test report: Markdown, or a table where the file is a CSV."""
    if test.file is not None and test.file.endswith(".csv"):
        lines = [f"# invented data; {test.kind} {key} of {test.of}, {test.on}", "feature,n,value,unit"]
        for name in test.covers:
            reading = test.gives.get(name)
            values = (
                () if reading is None else spread_readings(reading.value, reading.u, build_seed(part.part, key, name))
            )
            lines += [f"{name},{n},{v:.5g},{part.features[name].unit}" for n, v in enumerate(values, 1)]
        return "\n".join(lines) + "\n"
    lines = [
        f"# Report: {test.kind.replace('-', ' ')}",
        "",
        "Invented for a demonstration; no laboratory made this.",
        "",
        f"- sample: {part.part} {part.name}, {test.of}",
        f"- day: {test.on}, by {test.by}" + (f" at {test.at}" if test.at is not None else ""),
        f"- covers: {', '.join(part.features[name].what for name in test.covers)}",
        f"- result: {test.result.value}",
        "",
        *_list_result_table(part, key, test),
        "This report speaks of the samples that were tested. It does not say that the part is safe.",
    ]
    return "\n".join(lines) + "\n"


def _list_result_table(part: Part, key: str, test: Test) -> list[str]:
    if not test.gives:
        return ["No figure was asked for; every sample met the plan.", ""]
    lines = ["| feature | reading | unit |", "| --- | ---: | --- |"]
    for name, reading in test.gives.items():
        values = reading.readings or spread_readings(reading.value, reading.u, build_seed(part.part, key, name))
        lines += [f"| {part.features[name].what} | {value:.4g} | {part.features[name].unit} |" for value in values]
        u = "" if reading.u is None else f" ± {reading.u:g} (95 %)"
        lines.append(f"| mean | {reading.value:g}{u} | {part.features[name].unit} |")
    return [*lines, ""]


def build_quote_letter(part: Part, key: str, quote: Quote) -> str:
    """Return a supplier's letter that says what the record says."""
    lines = [f"# Offer {key}", "", "Invented for a demonstration.", ""]
    lines += [
        f"{part.part} {part.name}, revision {quote.of}. Day {quote.on}, held until {quote.valid_to or 'not said'}."
    ]
    lines += ["", "| tool | price |", "| --- | ---: |"]
    lines += [f"| {name} | {price:,.0f} {quote.money} |" for name, price in quote.tools.items()]
    lines += ["", "| order of | price of a piece |", "| ---: | ---: |"]
    lines += [f"| {quantity} | {price:.2f} {quote.money} |" for quantity, price in quote.piece.items()]
    weeks = "not said" if quote.weeks is None else f"{quote.weeks:g} weeks"
    return "\n".join([*lines, "", f"Lead time: {weeks}. Tools belong to: {quote.owns_tool.value}."]) + "\n"


_GENERAL_SETTINGS = (("cycle time", 42, "s"), ("force", 38, "kN"), ("temperature of the shop", 19.5, "C"))
_SETTINGS = {
    "die-cast-plated": (("metal temperature", 422, "C"), ("die temperature", 185, "C"), ("plunger speed", 2.4, "m/s")),
    "moulded": (("melt temperature", 238, "C"), ("mould temperature", 62, "C"), ("holding pressure", 48, "MPa")),
    "cut-and-sew": (("layers in the cut", 6, "none"), ("stitches", 3.2, "per cm"), ("thread tension", 1.1, "N")),
    "turned-plated": (("spindle speed", 2200, "1/min"), ("feed", 0.06, "mm"), ("plating time", 26, "min")),
}


def build_settings(part: Part, key: str, article: FirstArticle) -> str:
    """Return the process settings with which the pieces were made, one row a piece and setting."""
    family = "moulded" if part.family.startswith("moulded") else part.family
    rng = np.random.default_rng(build_seed(part.part, key, "settings"))
    lines = [f"# invented data; {part.part} {key}, revision {article.of}, {article.on}", "piece,setting,value,unit"]
    for piece in range(1, article.pieces + 1):
        for name, value, unit in _SETTINGS.get(family, _GENERAL_SETTINGS):
            lines.append(f"{piece},{name},{value * (1 + rng.normal(0, 0.004)):.4g},{unit}")
    return "\n".join(lines) + "\n"


def build_article_report(part: Part, key: str, article: FirstArticle) -> str:
    """Return the first-article report: each piece against the limits."""
    lines = [f"# First article {key}", "", "Invented for a demonstration.", ""]
    lines += [f"{article.pieces} pieces of revision {article.of}, {'finished' if article.finished else 'bare'}."]
    lines += [
        "",
        "| feature | piece | reading | lowest | highest | inside |",
        "| --- | ---: | ---: | ---: | ---: | --- |",
    ]
    for name, values in article.gives.items():
        feature = part.features[name]
        limits = feature.limits
        for number, value in enumerate(values, 1):
            inside = limits is None or limits.is_inside(value - feature.nominal)
            low = "" if limits is None or limits.lower is None else f"{feature.nominal + limits.lower:g}"
            high = "" if limits is None or limits.upper is None else f"{feature.nominal + limits.upper:g}"
            lines.append(f"| {feature.what} | {number} | {value:g} | {low} | {high} | {'yes' if inside else 'NO'} |")
    return (
        "\n".join([*lines, "", f"Result: {article.result.value}. By {article.by}, seen by {article.seen_by}."]) + "\n"
    )


def build_shrinkage_table(part: Part, key: str) -> str:
    """Return cavity and moulding sizes of ten shots whose mean is the measured shrinkage."""
    tool = part.tools[key]
    if tool.shrinkage is None or tool.shrinkage.measured is None:
        raise ValueError(f"{part.part} {key} has no measured shrinkage to draw a table from")
    noise = np.random.default_rng(build_seed(part.part, key, "shrinkage")).normal(0, 0.00015, 10)
    shares = tool.shrinkage.measured + noise - noise.mean()
    cavity = 46.231
    lines = ["# invented data; linear shrinkage = 1 - moulding / cavity", "shot,cavity_mm,moulding_mm,shrinkage"]
    lines += [f"{n},{cavity},{cavity * (1 - s):.4f},{s:.5f}" for n, s in enumerate(shares.tolist(), 1)]
    return "\n".join(lines) + "\n"


def build_cutting_patterns(part: Part, key: str) -> str:
    """Return the outlines of eighteen panels of a sewn part, seam allowance of 12 mm included."""
    rng = np.random.default_rng(build_seed(part.part, "patterns"))
    lines = [f"# invented data; {part.part} revision {key}, panels as cut, with a seam of 12 mm", "# unit: mm"]
    lines.append("panel,corner,x,y")
    for panel in range(1, 19):
        width, height = 58.0 + 24 if panel > 4 else rng.uniform(300, 590), rng.uniform(380, 520)
        corners = ((0.0, 0.0), (width, 0.0), (width - 4, height), (4.0, height))
        lines += [f"{panel},{n},{x:.1f},{y:.1f}" for n, (x, y) in enumerate(corners, 1)]
    return "\n".join(lines) + "\n"


def build_safety_note(part: Part) -> str:
    """Return the note of the safety review: what is to be checked, by whom."""
    review = part.safety_review
    if review is None:
        raise ValueError(f"{part.part} has no safety review")
    listed = "\n".join(f"- {key}" for key in review.regulations)
    return (
        f"# Safety review of {part.part} {part.name}\n\nInvented for a demonstration.\n\n{review.on}, {review.by}.\n\n"
        f"To be checked, in the edition that applies where the part is sold and used:\n\n{listed}\n\n{review.plan}\n\n"
        "This note does not say that the part is safe. Local codes and licensed practice decide.\n"
    )
