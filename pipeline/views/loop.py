"""What is probably still wrong with a part, and whether one more loop of prototype and fit check pays."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace
from decimal import Decimal
from typing import Any

from pipeline.costing.errors_left import ModeRow, render_chance
from pipeline.costing.loop import LoopResult
from pipeline.costing.loop_inputs import LoopInput, Swing
from pipeline.costing.ranges import Range
from pipeline.model.words import SafetyLevel
from pipeline.portfolio.errors import PartErrors, compute_part_errors
from pipeline.portfolio.loop import SEED, LoopAdvice, Option, compute_loop_advice, find_no_advice
from pipeline.portfolio.portfolio import PartFile
from pipeline.views.money_words import (
    COMMON_PRACTICE,
    build_row,
    build_table,
    find_currency,
    say,
    word_left,
    word_range,
    word_weeks,
    word_whole,
)
from pipeline.views.shapes_charts import Curve, CurveChart, CurvePoint
from pipeline.views.shapes_marks import Column, Line, Row, Run, Table, Tone, Working, WorkingInput, build_line
from pipeline.views.shapes_money import TornadoBar, TornadoChart
from pipeline.views.shapes_site import Figure, Section
from pipeline.views.wording import word_count, word_list, word_share

NO_PRIOR = "The family says nothing of usual errors: write `errors` under it in shared/families.yaml."
_SAFETY = " Money decides no question of safety: what the safety review plans is tested, whatever this says."


def build_loop_sections(file: PartFile) -> tuple[Section, ...]:
    """Make the sections of a part's page: errors by mode, and another loop."""
    return (build_errors_section(file), build_advice_section(file))


# --- errors by mode -------------------------------------------------------------------------------


def build_errors_section(file: PartFile) -> Section:
    """Make the table of errors that are probably left, a row for each mode; deliberately none over all of them."""
    errors = compute_part_errors(file)
    columns = (
        Column("failure mode"),
        Column("errors left", "expected", True),
        Column("chance of none", "", True),
        Column("found so far", "", True),
        Column("could see it"),
        Column("could not see it"),
    )
    rows = [_build_mode_row(row) for row in errors.rows]
    return Section(
        "errors-left",
        "What is probably still wrong with it",
        "each failure mode by itself: a part that is sure to fit may still rust",
        _say_unseen(errors),
        (),
        (replace(build_table("Errors left, by failure mode", columns, rows, NO_PRIOR), folds=True),),
        _say_what_counts(errors),
        _build_errors_working(file, errors),
        True,
    )


def _build_mode_row(row: ModeRow) -> Row:
    left, none = word_left(row.remaining.mean, row.remaining.chance_of_none)
    saw = "; ".join(f"{sight.check} ({word_share(round(sight.power, 3))})" for sight in row.saw)
    return build_row(
        (
            row.mode.value,
            left,
            none,
            str(row.found),
            saw or (Run("nothing so far", Tone.FLAG),),
            "; ".join(name.split(",")[0] for name in row.blind) or "–",
        )
    )


def _say_unseen(errors: PartErrors) -> Line:
    if not errors.rows:
        return ()
    if not errors.unseen:
        return say("Every failure mode was in front of some check that could see it.")
    names = word_list([mode.value for mode in errors.unseen], 6)
    return say(f"No check that counts so far can see errors of {names}.", Tone.FLAG)


def _say_what_counts(errors: PartErrors) -> Line:
    parts = []
    if errors.stale:
        parts.append(f"No longer counted, because it went stale: {word_list(errors.stale, 8)}.")
    if errors.open_changes:
        parts.append(f"Known and not corrected yet: {'; '.join(errors.open_changes)}.")
    if errors.no_prior:
        names = word_list([mode.value for mode in errors.no_prior], 6)
        parts.append(f"Errors of {names} are on record, and the family says nothing of how usual they are.")
    parts.append("Measurements make the model, they do not check it.")
    return say(" ".join(parts), Tone.SOFT)


def _build_errors_working(file: PartFile, errors: PartErrors) -> Working:
    closed = word_list(errors.closed, 6)
    moved = f", moved by our own released {word_count(len(errors.closed), 'part')} {closed}" if closed else ""
    inputs = tuple(
        WorkingInput(
            row.mode.value,
            f"{row.prior.mean:.3g} expected in a first model; {word_share(round(row.remaining.miss, 4))} of errors "
            f"would have slipped past",
            say(f"shared/families.yaml, {file.part.family}{moved}"),
        )
        for row in errors.rows
    )
    return Working(
        (
            "errors of a mode in a first model ~ Poisson(rate), rate ~ Gamma(a, b)",
            "miss = product over the checks of (1 - chance to find x share looked at)",
            "expected left = miss (a + n) / (b + 1 - miss); chance of none = ((b + 1 - miss) / (b + 1)) ^ (a + n)",
            "n = errors found and on record; stale checks stay in the belief about the part, not in what is proven",
        ),
        inputs,
        "gamma-Poisson model (Gelman and others, Bayesian Data Analysis, section 2.6); "
        "chances to find and usual errors: common practice, no source",
    )


# --- another loop ---------------------------------------------------------------------------------


def build_advice_section(file: PartFile) -> Section:
    """Make the advice on one more loop: does it pay, how many, what turns the answer, what would buy more."""
    advice = compute_loop_advice(file)
    if advice is None:
        return Section("another-loop", "Does one more loop pay?", "", say(find_no_advice(file)), fold=True)
    currency = find_currency(file)
    figures = tuple(one for one in (_draw_swings(advice, currency), _draw_net(advice, currency)) if one is not None)
    return Section(
        "another-loop",
        "Does one more loop pay?",
        f"{advice.usual.loop.name}, at today's cost of a week",
        _say_verdict(file, advice),
        figures,
        (_build_options(advice, currency), _build_turns(advice, currency)),
        _say_series(file, advice),
        _build_loop_working(file, advice),
        True,
    )


def _say_verdict(file: PartFile, advice: LoopAdvice) -> Line:
    result, currency = advice.result, find_currency(file)
    gain = f"{word_whole(abs(result.net))} {currency}"
    head = f"Yes: on average it saves {gain} more than it costs. " if result.pays else (
        f"No: on average it costs {gain} more than it saves. "
    )  # fmt: skip
    price = f"It costs {word_whole(result.price)} {currency} and {word_weeks(result.weeks)} weeks; "
    chance = f"the chance that it pays for itself is {render_chance(result.chance_pays)}. "
    best = advice.best
    other = ""
    if best.name != result.name and best.net > max(result.net, 0):
        other = f"More is bought by: {best.name} ({word_whole(best.net)} {currency} net). "
    exposure = f"At stake in all that is left: {word_whole(advice.exposure)} {currency}."
    safety = "" if file.part.safety is SafetyLevel.S0 else _SAFETY
    return build_line(Run(head, Tone.STRONG), price + chance + other + exposure + safety)


def _say_series(file: PartFile, advice: LoopAdvice) -> Line:
    result, series = advice.result, advice.series
    if result.longest_weeks is None:
        longest = "It would not pay even without any delay. "
    else:
        longest = f"It is worth waiting for up to {word_weeks(result.longest_weeks)} weeks. "
    planned = f"Planned now, {word_count(series.planned, 'loop')} in a row would pay"
    clean = f"; if each finds nothing, {series.after_clean or 'none'}. "
    calls = [
        f"{least} of {mode.value}" for mode, least in series.calls_for_more.items() if least is not None and least > 0
    ]
    more = f"It takes so many errors found by it to call for another one: {word_list(calls, 6)}. " if calls else ""
    seed = f"Chances are added up exactly, or drawn with seed {SEED} where the cases are too many."
    del file
    return say(longest + planned + clean + more + seed, Tone.SOFT)


def _build_options(advice: LoopAdvice, currency: str) -> Table:
    columns = (
        Column("evidence"),
        Column("net gain", currency, True),
        Column("price with delay", currency, True),
        Column("weeks", "", True),
        Column("chance that it pays", "", True),
        Column("gain per 100 spent", "", True),
        Column("gain per week", currency, True),
        Column("sees"),
    )
    rows = [_build_option_row(one) for one in advice.ranked]
    return build_table(
        "What other evidence would buy, the best net gain first", columns, rows, "No evidence can be bought."
    )


def _build_option_row(result: LoopResult) -> Row:
    seen = [gain.mode.value for gain in result.modes if gain.found > 0]
    money, week = result.gain_per_money, result.gain_per_week
    return build_row(
        (
            result.name,
            word_whole(result.net),
            word_whole(result.price),
            word_weeks(result.weeks),
            render_chance(result.chance_pays),
            "–" if money is None else word_whole(100 * money),
            "–" if week is None else word_whole(week),
            word_list(seen, 6) or "nothing that is left",
        ),
        strong=result.net > 0,
    )


def _build_turns(advice: LoopAdvice, currency: str) -> Table:
    columns = (Column("input"), Column("as it stands", "", True), Column("turns the answer at", "", True))
    turning = [row for row in advice.inputs if row.turns_at is not None]
    rows = [
        build_row((row.label, _word_input(row, row.value, currency), _word_input(row, row.turns_at, currency)))
        for row in turning
    ]
    return build_table("What would turn the answer, all else as it stands", columns, rows, "No single input turns it.")


def _word_input(row: LoopInput | Swing, value: float | None, currency: str) -> str:
    if value is None:
        return "–"
    if row.unit == "chance":
        return word_share(round(value, 3))
    if row.unit == "errors":
        return f"{value:.3f}" if value < 0.1 else f"{value:.2f}"
    if row.unit == "weeks":
        return word_weeks(value)
    return f"{word_whole(value)} {currency}"


def _draw_swings(advice: LoopAdvice, currency: str) -> Figure | None:
    if not advice.swings:
        return None
    bars = tuple(
        TornadoBar(
            one.label,
            one.net_low,
            one.net_high,
            _word_input(one, one.low, "").strip(),
            _word_input(one, one.high, "").strip(),
            one.turns_inside,
        )
        for one in advice.swings[:8]
    )
    first = advice.swings[0]
    words = f"The net gain is {word_whole(advice.result.net)} {currency}. "
    words += f"{first.label[0].upper()}{first.label[1:]} moves it most: "
    words += f"from {word_whole(first.net_low)} to {word_whole(first.net_high)} {currency}."
    turning = [one.label for one in advice.swings if one.turns_inside]
    if turning:
        words += f" The answer turns within the range of {word_list(turning, 4)}."
    base = f"net gain as it stands: {word_whole(advice.result.net)}"
    note = "Costs run over their own low and high; errors, price and weeks from half to double; "
    note += "chances 20 points each way. "
    note += "Hatched: the answer turns within the bar."
    chart = TornadoChart("What moves the net gain of one more loop", words, currency, advice.result.net, base, bars)
    return Figure(chart, say(note, Tone.SOFT))


def _draw_net(advice: LoopAdvice, currency: str) -> Figure | None:
    curve = advice.curve
    if curve is None:
        return None
    points = tuple(CurvePoint(x, y) for x, y in zip(curve.values[::5], curve.nets[::5], strict=True))
    turns = curve.turns_at
    inside = turns is not None and curve.values[0] <= turns <= curve.values[-1]
    row = next(one for one in advice.inputs if one.label == curve.label)
    ends = [_word_input(row, value, currency) for value in (curve.values[0], curve.values[-1])]
    words = f"Net gain in {currency} against the {curve.label}: {word_whole(curve.nets[0])} at {ends[0]}, "
    words += f"{word_whole(curve.nets[-1])} at {ends[1]}. "
    words += f"It turns at {_word_input(row, turns, currency)}." if inside else "It does not turn within this range."
    chart = CurveChart(
        "Net gain against the input that moves it most", words, curve.label, currency,
        (Curve("net gain", points),), turns if inside else None, "turns here" if inside else "",
    )  # fmt: skip
    return Figure(chart)


def _build_loop_working(file: PartFile, advice: LoopAdvice) -> Working:
    currency = find_currency(file)
    inputs = [
        WorkingInput(
            "one error found late", _word_money_range(advice.late.total, currency), say(_name_stage(advice, True))
        ),
        WorkingInput(
            "the same error found now", _word_money_range(advice.now.total, currency), say(_name_stage(advice, False))
        ),
    ]
    week = advice.usual.loop.week_cost
    inputs += [
        WorkingInput(label, f"{word_whole(cost)} {currency}", say("price of the loop"))
        for label, cost in advice.usual.parts
    ]
    delay = f"{word_weeks(advice.usual.loop.weeks)} weeks x {word_whole(week)} {currency}"
    inputs.append(WorkingInput("delay", delay, say("cost of a week: sales lost for good, see the ladder")))
    for gain in advice.result.modes:
        if gain.found > 0:
            words = f"{gain.left:.3g} left, {gain.found:.3g} found, {word_whole(gain.saved)} {currency} saved"
            inputs.append(WorkingInput(gain.mode.value, words, say("left x chance to find x (late - now)")))
    return Working(
        (
            "net gain = sum over modes of errors left x chance to find one x (late - now) - price of the loop",
            f"= {word_whole(advice.result.net + advice.result.price)} - {word_whole(advice.result.price)} "
            f"= {word_whole(advice.result.net)} {currency}",
        ),
        tuple(inputs),
        "expected value of sample information (decision analysis, any textbook of operations research); "
        f"chances to find and prices of samples: {COMMON_PRACTICE}",
        "It takes each look as independent of the ones before: the same print on the same vehicle again finds less.",
    )


def _word_money_range(found: Range, currency: str) -> str:
    return f"{word_range(*(float(one.quantize(Decimal(1))) for one in found))} {currency}"


def _name_stage(advice: LoopAdvice, late: bool) -> str:
    figure = advice.late if late else advice.now
    stage = "nothing exists yet" if figure.stage is None else f"stage {figure.stage.words}"
    return f"cost-of-change ladder, {stage}"


# --- for programs ---------------------------------------------------------------------------------


def build_loop_json(file: PartFile) -> dict[str, Any]:
    """Return the same answers for a program: numbers unrounded, money in the workspace currency."""
    errors, advice = compute_part_errors(file), compute_loop_advice(file)
    answer: dict[str, Any] = {
        "part": file.number,
        "currency": find_currency(file),
        "seed": SEED,
        "errors": [_dump_mode(row) for row in errors.rows],
        "unseen": [mode.value for mode in errors.unseen],
        "stale": list(errors.stale),
        "known_open": list(errors.open_changes),
        "prior_moved_by": list(errors.closed),
        "loop": None,
        "no_loop_because": find_no_advice(file),
    }
    if advice is not None:
        answer["loop"] = _dump_advice(advice)
    return answer


def _dump_mode(row: ModeRow) -> dict[str, Any]:
    return {
        "mode": row.mode.value,
        "expected": row.remaining.mean,
        "chance_of_none": row.remaining.chance_of_none,
        "miss": row.remaining.miss,
        "found": row.found,
        "prior": {"a": row.prior.shape, "b": row.prior.weight},
        "saw": [{"check": sight.check, "chance": sight.power} for sight in row.saw],
        "blind": list(row.blind),
    }


def _dump_advice(advice: LoopAdvice) -> dict[str, Any]:
    return {
        "late": [float(one) for one in advice.late.total],
        "now": [float(one) for one in advice.now.total],
        "exposure": advice.exposure,
        **_dump_result(advice.result),
        "loops_that_pay": {"planned": advice.series.planned, "if_each_is_clean": advice.series.after_clean},
        "calls_for_more": {mode.value: least for mode, least in advice.series.calls_for_more.items()},
        "turns_at": {row.label: row.turns_at for row in advice.inputs if row.turns_at is not None},
        "options": [_dump_option(one, advice.options) for one in advice.ranked],
    }


def _dump_result(result: LoopResult) -> dict[str, Any]:
    longest = result.longest_weeks
    return {
        "name": result.name,
        "price": result.price,
        "weeks": result.weeks,
        "net": result.net,
        "pays": result.pays,
        "chance_pays": result.chance_pays,
        "longest_weeks": None if longest is None or longest == float("inf") else longest,
        "commit_now": result.commit_now,
        "loop_then_commit": result.loop_then_commit,
    }


def _dump_option(result: LoopResult, options: tuple[Option, ...]) -> dict[str, Any]:
    found = next(one for one in options if one.loop.name == result.name)
    parts = dict(found.parts)
    return {
        **_dump_result(result),
        "gain_per_money": result.gain_per_money,
        "gain_per_week": result.gain_per_week,
        "price_parts": parts,
    }


def render_loop(file: PartFile) -> Iterator[str]:
    """Yield the lines of the terminal: the sections of the page."""
    from pipeline.views.terminal_sections import render_sections

    yield f"{file.number} {file.part.name}"
    yield ""
    yield from render_sections(build_loop_sections(file))
