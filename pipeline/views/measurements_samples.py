"""Sections about samples off the tools: first articles against their limits, and the shrinkage they show."""

from __future__ import annotations

from pipeline.portfolio.measurements import FeatureMeasured, PartMeasured, SampleValues
from pipeline.views.addresses import Anchors, find_method_page
from pipeline.views.measurements_working import count_places
from pipeline.views.shapes_marks import Cell, Column, Link, Mark, Row, Run, Table, Tone, Working, build_line
from pipeline.views.shapes_site import Section
from pipeline.views.wording import with_unit, word_count, word_number, word_share, write_sentence

_MEASURE_SHOTS = "Measure the first shots before anything is cut to fit."


def build_samples_section(anchors: Anchors, found: list[FeatureMeasured]) -> Section | None:
    """Make the section of first articles; None where there are none."""
    rows = [(one, sample) for one in found for sample in one.samples]
    if not rows:
        return None
    columns = (
        Column("first article"),
        Column("feature"),
        Column("pieces", number=True),
        Column("inside limits", number=True),
        Column("values"),
        Column("Cp", number=True),
        Column("Cpk (95 %)", number=True),
        Column("expected outside", number=True),
        Column("verdict"),
    )
    table = Table(
        "First articles against the limits",
        columns,
        tuple(_build_sample_row(anchors, one, sample) for one, sample in rows),
        "No first article is recorded.",
    )
    working = Working(
        (
            "Cp = (upper − lower) / 6 s;  Cpk = nearer distance from the mean / 3 s",
            "s: within, from moving ranges of two; a few pieces bound it loosely, so the interval stands beside it",
            "The uncertainty of these readings is not recorded, so they are compared plainly, without a guard band.",
        ),
        (),
        "ISO 22514-2; interval of Cpk after A. Bissell, Applied Statistics 39 (1990)",
        "Capability of a handful of pieces says little of a run: look at the lower end of the interval.",
        Link("Readings and limits", find_method_page("readings")),
    )
    return Section(
        "measuring-samples", "First articles against their limits", word_count(len(rows), "row"), (), (), (table,), (),
        working, True,
    )  # fmt: skip


def _build_sample_row(anchors: Anchors, one: FeatureMeasured, sample: SampleValues) -> Row:
    places = count_places(one.feature, list(sample.values))
    node = f"first_articles.{sample.article}"
    head = Run(sample.article, href=anchors.link(node) if anchors.has(node) else "")
    low, high = min(sample.values), max(sample.values)
    span = f"{word_number(low, places)} to {word_number(high, places)}" if low != high else word_number(low, places)
    cp = cpk = outside = "–"
    if sample.capability is not None:
        found = sample.capability
        cp = "–" if found.cp is None else f"{found.cp.value:.2f}"
        cpk = f"{found.cpk.value:.2f} ({found.cpk.lower:.2f} to {found.cpk.upper:.2f})"
        outside = word_share(found.share_outside)
    inside = "–" if sample.inside is None else str(sample.inside)
    texts = (one.key, str(len(sample.values)), inside, with_unit(span, one.feature.unit), cp, cpk, outside)
    return Row((Cell((head,)), *(Cell(build_line(text)) for text in texts), _word_sample(sample)))


def _word_sample(sample: SampleValues) -> Cell:
    if sample.inside is None:
        return Cell(build_line("no limits, no verdict"), Mark.MISSING)
    if sample.inside < len(sample.values):
        out = len(sample.values) - sample.inside
        return Cell(build_line(Run(f"{word_count(out, 'piece')} outside the limits", Tone.FLAG)), Mark.MISSING)
    note = f"; {sample.no_capability}" if sample.no_capability else ""
    return Cell(build_line(f"all pieces inside{note}"), Mark.IN_HAND)


def build_tools_section(measured: PartMeasured) -> Section | None:
    """Make the section of the shrinkage of tools; None where no tool assumes one."""
    if not measured.tools:
        return None
    columns = (
        Column("tool"),
        Column("assumed", "%", True),
        Column("measured", "%", True),
        Column("from first articles", "%", True),
        Column("in words"),
    )
    rows = []
    for tool in measured.tools:
        low, likely, high = (f"{100 * share:.2f}" for share in tool.assumed)
        spread = "" if tool.u is None else f" ± {100 * tool.u:.2f}"
        recorded = "not measured" if tool.measured is None else f"{100 * tool.measured:.2f}{spread}"
        check = tool.check
        found = "–" if check is None else f"{100 * check.mean.value:.2f} ± {100 * check.mean.uncertainty:.2f}"
        flag = bool(tool.differs) or (tool.differs is None and check is not None and check.differs)
        words = (
            " ".join(write_sentence(one) for one in tool.sentences)
            or "Measure the first shots before anything is cut to fit."
        )
        texts = (f"{likely} ({low} to {high})", recorded, found)
        rows.append(
            Row(
                (
                    Cell(build_line(tool.tool), Mark.STALE if flag else Mark.IN_HAND),
                    *(Cell(build_line(text)) for text in texts),
                    Cell(build_line(Run(words, Tone.FLAG if flag else Tone.PLAIN))),
                )
            )
        )
    working = Working(
        (
            "cavity = part / (1 − s), never part × (1 + s): shrinkage is counted from the cavity",
            "measured s = 1 − part / cavity; it differs where it is farther from the assumed one than its uncertainty",
        ),
        (),
        "ISO 294-4 for the shrinkage; JCGM 100:2008, 5.1.2 for its uncertainty",
        "The cavity is taken as the nominal times the mould scale where it was not measured.",
    )
    table = Table("Shrinkage of moulds and dies", columns, tuple(rows), "No tool assumes a shrinkage.")
    return Section("measuring-tools", "Shrinkage", "", (), (), (table,), (), working, True)
