"""Sections about what was measured: originals side by side, verdicts, fits, nominals, samples, tools, meshes.

Every figure carries its working: the formula with its numbers, the inputs with where they come from, the standard.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Mapping

from pipeline.measuring.drawing_guess import Candidate
from pipeline.measuring.nominal import NominalStatus
from pipeline.measuring.uncertainty_ratio import RatioState
from pipeline.measuring.verdict import Outcome
from pipeline.model.part import Feature
from pipeline.model.quantity import LENGTH_UNITS
from pipeline.model.words import Condition, FeatureKind
from pipeline.portfolio.fits import FitKind
from pipeline.portfolio.measurements import (
    FeatureMeasured,
    MeasuredValue,
    compute_agreement,
    convert_reading,
    take_measured,
)
from pipeline.portfolio.portfolio import PartFile
from pipeline.views.addresses import Anchors, find_part_file
from pipeline.views.measurements_meshes import build_mesh_section
from pipeline.views.measurements_samples import build_samples_section, build_tools_section
from pipeline.views.measurements_studies import build_study_sections
from pipeline.views.measurements_working import (
    build_files_working,
    build_fit_working,
    build_nominals_working,
    build_plot_working,
    build_verdict_working,
    count_recorded_places,
    word_chance,
    word_value,
)
from pipeline.views.shapes_charts import DeviationPlot, DeviationPoint, DeviationRow, RoundnessPlot
from pipeline.views.shapes_marks import (
    Cell,
    Column,
    Line,
    Mark,
    ReadingShape,
    Row,
    Run,
    Table,
    Tone,
    build_line,
)
from pipeline.views.shapes_site import Figure, Section
from pipeline.views.wording import (
    with_unit,
    word_count,
    word_limits,
    word_number,
    word_share,
    word_unit,
    write_sentence,
)

CONDITIONS = {
    Condition.NOS: "new old stock",
    Condition.USED: "used",
    Condition.RESTORED: "restored",
    Condition.REPRODUCTION: "reproduction",
}
_SHAPES = {
    Condition.NOS: ReadingShape.NOS,
    Condition.USED: ReadingShape.USED,
    Condition.RESTORED: ReadingShape.RESTORED,
    Condition.REPRODUCTION: ReadingShape.LEFT_OUT,
}
_OUTCOMES = {
    Outcome.CONFORM: "conforms",
    Outcome.NOT_CONFORM: "does not conform",
    Outcome.UNDECIDED: "undecided",
}
_MARKS = {Outcome.CONFORM: Mark.PROVEN, Outcome.NOT_CONFORM: Mark.MISSING, Outcome.UNDECIDED: Mark.PLANNED}
_PLOT_LABEL = 15
_MOST_GUESSES = 3
_MOST_TRACES = 2
_MOST_PLOTS = 2
_SAYS_NOTHING = 0.4
_MOST_BESIDE = 5
"""With more originals side by side there is no room for a sentence beside them; it stands with the nominals."""
_MOST_WHOLE = 8
"""So many originals leave room for a value and its uncertainty on one line; of more, the latter may stand below."""


def build_measurement_sections(file: PartFile, copies: Mapping[str, str] | None = None) -> tuple[Section, ...]:
    """Make the sections about what was measured; none where nothing was.

    copies : address in the site of each file that it has a copy of, by the record's own path.
    The fits, their traces and the meshes are there when the portfolio was built with `deep=True`.
    """
    measured = take_measured(file)
    found = [one for one in measured.features.values() if one.values or one.samples]
    anchors = Anchors(file.part, file.lineage.nodes, copies)
    read = [one for one in found if one.values]
    sections: list[Section | None] = []
    if read:
        sections = [
            _build_originals(file, anchors, read),
            _build_verdicts(file, anchors, read),
            _build_fits(anchors, read),
            _build_nominals(file, read),
        ]
    sections += [
        build_samples_section(anchors, found),
        *build_study_sections(file, measured, anchors),
        build_tools_section(measured),
        build_mesh_section(file, measured),
    ]
    return tuple(section for section in sections if section is not None)


# --- all features together ------------------------------------------------------------------------


def _build_originals(file: PartFile, anchors: Anchors, found: list[FeatureMeasured]) -> Section:
    values = [value for one in found for value in one.values]
    kinds = {name: file.part.originals[name].condition for name in dict.fromkeys(v.original for v in values)}
    counted = {v.original for v in values if v.is_counted}
    aside = f"{word_count(len(kinds), 'original')} measured, {len(counted)} of them count"
    return Section(
        "measuring-originals",
        "Originals side by side",
        aside,
        build_line("Each value with its expanded uncertainty. What does not count is in brackets, the reason below."),
        tuple(_build_plots(found)),
        (_build_side_by_side(file, found), _build_left_out(anchors, found)),
    )


def _build_plots(found: list[FeatureMeasured]) -> list[Figure]:
    """One plot for each unit, for the units that most features have: millimetres and micrometres share no scale."""
    limited = [one for one in found if one.feature.limits is not None]
    counts = Counter(one.feature.unit for one in limited)
    figures = []
    for unit, _ in counts.most_common(_MOST_PLOTS):
        rows = [one for one in limited if one.feature.unit == unit]
        title = f"Deviation from nominal, {word_unit(unit) or 'as counted'}"
        figures.append(Figure(_plot(rows, unit, title), (), build_plot_working(rows)))
    return figures


def _plot(found: list[FeatureMeasured], unit: str, title: str) -> DeviationPlot:
    rows = tuple(
        DeviationRow(
            one.key if len(one.key) <= _PLOT_LABEL else f"{one.key[: _PLOT_LABEL - 1]}…",
            None if one.feature.limits is None else one.feature.limits.lower,
            None if one.feature.limits is None else one.feature.limits.upper,
            tuple(_point(one, value) for value in one.values),
        )
        for one in found
    )
    return DeviationPlot(title, " ".join(_word_plot(one) for one in found), word_unit(unit) or "–", rows)


def _point(one: FeatureMeasured, value: MeasuredValue) -> DeviationPoint:
    shape = _SHAPES[value.condition] if value.is_counted else ReadingShape.LEFT_OUT
    label = f"{value.original} {value.measurement}"
    return DeviationPoint(label, value.value - one.feature.nominal, value.expanded or 0.0, shape)


def _word_plot(one: FeatureMeasured) -> str:
    places = count_recorded_places(one)
    parts = [
        f"{value.original} {word_number(value.value - one.feature.nominal, places, signed=True)}"
        + ("" if value.is_counted else " (left out)")
        for value in one.values
    ]
    limits = with_unit(word_limits(one.feature.limits, places), one.feature.unit)
    return f"{one.key}: limits {limits}; {', '.join(parts)}."


def _build_side_by_side(file: PartFile, found: list[FeatureMeasured]) -> Table:
    names = list(dict.fromkeys(value.original for one in found for value in one.values))
    columns = (
        Column("feature"),
        Column("unit"),
        Column("nominal", number=True),
        *(Column(f"{name}, {CONDITIONS[file.part.originals[name].condition]}", number=True) for name in names),
        *([Column("originals say")] if len(names) <= _MOST_BESIDE else []),
    )
    rows = tuple(_build_side_row(one, names) for one in found if one.values)
    caption = "Values of each original, by feature"
    csv_href = find_part_file(file.number, "values.csv")
    return Table(caption, columns, rows, "No original is measured yet.", csv_href, folds=True)


def _build_side_row(one: FeatureMeasured, names: list[str]) -> Row:
    places = count_recorded_places(one)
    cells = [
        Cell(build_line(Run(one.key, href=""))),
        Cell(build_line(word_unit(one.feature.unit) or "–")),
        Cell(build_line(word_number(one.feature.nominal, places))),
    ]
    for name in names:
        texts = []
        for value in one.values:
            if value.original == name:
                shown = word_value(value.value, value.expanded, places)
                texts.append(shown if value.is_counted else f"({shown})")
        mark = "\u00a0±\u00a0" if len(names) <= _MOST_WHOLE else " ±\u00a0"
        cells.append(Cell(build_line("; ".join(texts).replace(" ± ", mark) or "–")))
    if len(names) <= _MOST_BESIDE:
        cells.append(Cell(build_line(one.nominal.sentence)))
    return Row(tuple(cells))


def _build_left_out(anchors: Anchors, found: list[FeatureMeasured]) -> Table:
    seen: dict[tuple[str, str], tuple[str, str]] = {}
    for one in found:
        for value in one.values:
            if not value.is_counted:
                seen.setdefault((value.measurement, value.left_out), (value.original, one.key))
        told = {value.original for value in one.values if not value.is_counted}
        for left in (left for left in one.nominal.left_out if left.original not in told):
            seen.setdefault((left.original, left.sentence), (left.original, one.key))
    rows = tuple(
        Row((Cell(build_line(original)), Cell(build_line(key)), Cell(_link_measurement(anchors, name, words))))
        for (name, words), (original, key) in seen.items()
    )
    return Table(
        "What does not count, and why",
        (Column("original"), Column("feature"), Column("why")),
        rows,
        "Everything that was measured counts.",
    )


def _link_measurement(anchors: Anchors, name: str, words: str) -> Line:
    node = f"measurements.{name}"
    if not anchors.has(node):
        return build_line(words)
    return build_line(Run(name, href=anchors.link(node)), f": {words}")


# --- verdicts -------------------------------------------------------------------------------------


def _build_verdicts(file: PartFile, anchors: Anchors, found: list[FeatureMeasured]) -> Section:
    columns = (
        Column("feature"),
        Column("original"),
        Column("value", number=True),
        Column("verdict"),
        Column("chance inside", number=True),
        Column("risk of a wrong answer", number=True),
        Column("limits to uncertainty", number=True),
        Column("measurement"),
    )
    rows = tuple(_build_verdict_row(anchors, one, value) for one in found for value in one.values)
    outcomes = [v.verdict.outcome for one in found for v in one.values if v.verdict is not None and v.is_counted]
    good = outcomes.count(Outcome.CONFORM)
    return Section(
        "measuring-verdicts",
        "Verdict on each reading",
        f"{good} of {word_count(len(outcomes), 'reading')} conform" if outcomes else "no verdict",
        build_line("A reading conforms where it lies inside the limits by more than the guard band."),
        (),
        (Table("Verdicts", columns, rows, "Nothing is measured yet.", folds=True),),
        build_line(*_word_ratios(found)),
        build_verdict_working(file, anchors, found),
        True,
    )


def _build_verdict_row(anchors: Anchors, one: FeatureMeasured, value: MeasuredValue) -> Row:
    places = count_recorded_places(one)
    verdict = value.verdict
    outcome = f"no verdict: {value.no_verdict}" if verdict is None else _OUTCOMES[verdict.outcome]
    if not value.is_counted:
        outcome += f" (left out: {value.left_out})"
    flag = verdict is not None and verdict.outcome is not Outcome.CONFORM and value.is_counted
    mark = Mark.MISSING if verdict is None else _MARKS[verdict.outcome]
    node = f"measurements.{value.measurement}"
    shown = with_unit(word_value(value.value, value.expanded, places), one.feature.unit)
    return Row(
        (
            Cell(build_line(one.key)),
            Cell(build_line(f"{value.original}, {CONDITIONS[value.condition]}")),
            Cell(build_line(shown)),
            Cell(build_line(Run(outcome, Tone.FLAG if flag else Tone.PLAIN)), mark),
            Cell(build_line("–" if verdict is None else word_chance(verdict.probability))),
            Cell(build_line("–" if verdict is None or verdict.risk is None else word_share(max(verdict.risk, 1e-9)))),
            Cell(build_line("–" if value.ratio is None else f"{value.ratio.ratio:.1f}")),
            Cell(build_line(Run(value.measurement, href=anchors.link(node) if anchors.has(node) else ""))),
        )
    )


def _word_ratios(found: list[FeatureMeasured]) -> list[str | Run]:
    """What would do instead, for the features whose limits are narrow against the uncertainty."""
    runs: list[str | Run] = []
    for one in found:
        ratio = one.ratio
        if ratio is not None and ratio.state is RatioState.TOO_SMALL:
            runs += [Run(f"{one.key}: ", Tone.STRONG), Run(ratio.sentence, Tone.FLAG), " "]
    return runs


# --- what the files give --------------------------------------------------------------------------


def _build_fits(anchors: Anchors, found: list[FeatureMeasured]) -> Section | None:
    pairs = [(one, value) for one in found for value in one.values if value.file_value is not None]
    if not pairs:
        return None
    columns = (
        Column("feature"),
        Column("measurement"),
        Column("recorded", number=True),
        Column("from its file", number=True),
        Column("how"),
        Column("points", number=True),
        Column("form error", "mm"),
    )
    rows = tuple(_build_fit_row(anchors, one, value) for one, value in pairs)
    figures = tuple(figure for one, value in _choose_traces(found) if (figure := _build_trace(one, value)) is not None)
    return Section(
        "measuring-files",
        "What the files give",
        f"{word_count(len(pairs), 'value')} fitted again from points or averaged from readings",
        (),
        figures,
        (Table("Values from the files against the recorded ones", columns, rows, "No file is attached."),),
        (),
        build_files_working(pairs),
        True,
    )


def _build_fit_row(anchors: Anchors, one: FeatureMeasured, value: MeasuredValue) -> Row:
    read = value.file_value
    if read is None:
        return Row(())
    places = count_recorded_places(one)
    form = "–" if read.fit is None or read.fit.form_mm is None else word_number(read.fit.form_mm, 3)
    named = "" if read.fit is None or not read.fit.form_name else f", {read.fit.form_name}"
    recorded = with_unit(word_number(value.recorded.value), value.recorded.unit or one.feature.unit)
    allowed = compute_agreement(value)
    away = allowed is not None and abs(read.value - convert_reading(value.recorded, one.feature)) > allowed
    given = Run(with_unit(word_number(read.value, places + 1), one.feature.unit), Tone.FLAG if away else Tone.PLAIN)
    node = f"measurements.{value.measurement}"
    head = Run(value.measurement, href=anchors.link(node) if anchors.has(node) else "")
    texts = (read.how, str(read.count), form + named)
    return Row(
        (
            Cell(build_line(one.key)),
            Cell((head,)),
            Cell(build_line(recorded)),
            Cell((given,)),
            *(Cell(build_line(text)) for text in texts),
        )
    )


def _choose_traces(found: list[FeatureMeasured]) -> list[tuple[FeatureMeasured, MeasuredValue]]:
    """For each round feature the original that is least round; run-out and critical features first."""
    chosen = []
    for one in found:
        traced = [v for v in one.values if v.file_value is not None and _has_trace(v)]
        if traced:
            chosen.append((one, max(traced, key=_find_form)))
    chosen.sort(key=lambda pair: (pair[0].feature.kind is not FeatureKind.RUNOUT, not pair[0].feature.critical))
    return chosen[:_MOST_TRACES]


def _has_trace(value: MeasuredValue) -> bool:
    fit = None if value.file_value is None else value.file_value.fit
    return fit is not None and fit.trace is not None and (fit.covered_deg is None or fit.covered_deg > 200)


def _find_form(value: MeasuredValue) -> float:
    fit = None if value.file_value is None else value.file_value.fit
    return 0.0 if fit is None or fit.form_mm is None else fit.form_mm


def _build_trace(one: FeatureMeasured, value: MeasuredValue) -> Figure | None:
    """Roundness or run-out of one original, where its points go round."""
    fit = None if value.file_value is None else value.file_value.fit
    if fit is None or fit.trace is None:
        return None
    deviations = tuple(round(1000 * deviation, 3) for deviation in fit.trace.deviations_mm)
    angles = tuple(round(angle, 3) for angle in fit.trace.angles_deg)
    span = word_number(max(deviations) - min(deviations), 0)
    name = f"{one.feature.what}, {value.original}"
    if fit.kind is not FitKind.RUNOUT:
        words = f"Roundness of {name}: {span} µm peak to valley about the least-squares circle, {fit.count} points."
        plot = RoundnessPlot(f"Roundness: {name}", words, angles, deviations)
        return Figure(plot, build_line(words), build_fit_working(one, value))
    limit = None if one.feature.limits is None else one.feature.limits.upper
    words = f"Run-out of {name}: {span} µm about the datum axis, {fit.count} points."
    if fit.harmonic is not None:
        words += (
            f" First harmonic (eccentricity) {word_number(fit.harmonic.amplitude_mm, 3)} mm towards "
            f"{word_number(fit.harmonic.phase_deg, 0)}°; the rest {word_number(fit.harmonic.rest_mm, 3)} mm peak to "
            "valley."
        )
    plot = RoundnessPlot(f"Run-out: {name}", words, angles, deviations, _to_um(one.feature, limit))
    return Figure(plot, build_line(words), build_fit_working(one, value))


def _to_um(feature: Feature, limit: float | None) -> float | None:
    factor = LENGTH_UNITS.get(feature.unit)
    return None if limit is None or factor is None or limit <= 0 else limit * factor * 1000


# --- nominals -------------------------------------------------------------------------------------


def _build_nominals(file: PartFile, found: list[FeatureMeasured]) -> Section:
    columns = (
        Column("feature"),
        Column("nominal", number=True),
        Column("originals say"),
        Column("the nominal is"),
        Column("a draughtsman may have written"),
    )
    rows = tuple(_build_nominal_row(one) for one in found if one.values)
    tables = [Table("Nominals", columns, rows, "Nothing is measured yet.", folds=True)]
    guesses = [(one, guess) for one in found for guess in choose_guesses(one)]
    if guesses:
        tables.append(_build_guesses(guesses))
    outside = sum(one.nominal.agrees is False for one in found)
    return Section(
        "measuring-nominals",
        "Nominal from originals",
        f"{word_count(outside, 'nominal')} outside the bound" if outside else "",
        (),
        (),
        tuple(tables),
        (),
        build_nominals_working(file, found),
        True,
    )


def _build_nominal_row(one: FeatureMeasured) -> Row:
    places = count_recorded_places(one)
    agrees = one.nominal.agrees
    words, mark = {
        True: ("inside the bound", Mark.IN_HAND),
        False: ("outside the bound", Mark.MISSING),
    }.get(bool(agrees), ("", Mark.NOT_NEEDED))
    if agrees is None:
        is_judged = one.nominal.status in (NominalStatus.ALL_WORN, NominalStatus.SINGLE_ORIGINAL)
        words = "somebody's judgement: say whose and why" if is_judged else "not judged"
        mark = Mark.PLANNED if is_judged else Mark.NOT_NEEDED
    guesses = choose_guesses(one)
    best = "–" if not guesses else f"{guesses[0].text} ({_word_guess(guesses[0].chance_by_accident)})"
    notes = "".join(f" {write_sentence(note)}" for note in one.nominal.notes)
    return Row(
        (
            Cell(build_line(one.key)),
            Cell(build_line(with_unit(word_number(one.feature.nominal, places), one.feature.unit))),
            Cell(build_line(one.nominal.sentence + notes)),
            Cell(build_line(Run(words, Tone.FLAG if agrees is False else Tone.PLAIN)), mark),
            Cell(build_line(best)),
        )
    )


def _build_guesses(guesses: list[tuple[FeatureMeasured, Candidate]]) -> Table:
    columns = (
        Column("feature"),
        Column("round size"),
        Column("is", "mm", True),
        Column("off the mean", "mm", True),
        Column("chance of a mean this far off", number=True),
        Column("chance to agree by accident", number=True),
        Column("says"),
    )
    rows = tuple(
        Row(
            tuple(
                Cell(build_line(text))
                for text in (
                    one.key,
                    guess.text,
                    word_number(guess.size_mm, 4),
                    word_number(guess.offset_mm, 4, signed=True),
                    word_share(max(guess.p, 1e-9)),
                    word_share(guess.chance_by_accident),
                    _word_guess(guess.chance_by_accident),
                )
            )
        )
        for one, guess in guesses
    )
    return Table("Round sizes inside the bound, simplest first", columns, rows, "No round size lies inside a bound.")


def choose_guesses(one: FeatureMeasured) -> list[Candidate]:
    """Return the guesses that say something, simplest first; the first of the others where none does."""
    telling = [guess for guess in one.nominal.guesses if guess.chance_by_accident < _SAYS_NOTHING]
    return (telling or list(one.nominal.guesses[:1]))[:_MOST_GUESSES]


def _word_guess(accident: float) -> str:
    if accident < 0.1:
        return "worth believing"
    return "a hint" if accident < _SAYS_NOTHING else "says nothing: some round size is always near"
