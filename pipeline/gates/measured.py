"""Requirements of the measure and model gates."""

from __future__ import annotations

from pipeline.gates.judgement import Answer, Bench, count_words, name_list
from pipeline.gates.reading_uncertainty import build_uncertainty_parts, compute_expanded, find_warmth
from pipeline.model.part import Measurement
from pipeline.model.quantity import LENGTH_UNITS
from pipeline.model.words import Condition, SafetyLevel


def is_counted(bench: Bench, key: str, feature: str | None = None) -> bool:
    """True when a measurement counts: its original is one, its file is intact, its instrument was in calibration.

    For a coated feature a restored original counts only where the coating was taken off.
    """
    measurement = bench.part.measurements[key]
    original = bench.part.originals.get(measurement.of)
    if original is None or original.condition is Condition.REPRODUCTION:
        return False
    node = f"measurements.{key}"
    if not bench.has_file(measurement.file) or not is_in_calibration(bench, measurement):
        return False
    if feature is None:
        return bench.counts(node)
    coated = bench.part.features[feature].coated
    if coated and original.condition is Condition.RESTORED and not measurement.coating_off:
        return False
    return bench.covers(node, feature)


def is_in_calibration(bench: Bench, measurement: Measurement) -> bool:
    """True when the day of the measurement lies within the instrument's calibration."""
    instrument = bench.catalogues.resources.instruments.get(measurement.with_)
    return instrument is not None and instrument.calibrated <= measurement.on <= instrument.due


def find_readings(bench: Bench, feature: str) -> tuple[str, ...]:
    """Return the keys of the measurements that count for a feature."""
    found = bench.known.get(feature)
    if found is None:
        taken = ((key, m) for key, m in bench.part.measurements.items() if feature in m.gives)
        found = bench.known[feature] = tuple(key for key, _ in taken if is_counted(bench, key, feature))
    return found


def judge_originals(bench: Bench) -> Answer:
    """How many originals were measured that count."""
    least = int(bench.need.least or 1)
    used = {m.of: f"measurements.{k}" for k, m in bench.part.measurements.items() if is_counted(bench, k)}
    left_out = [k for k, o in bench.part.originals.items() if o.condition is Condition.REPRODUCTION]
    words = f"{len(used)} original{'' if len(used) == 1 else 's'} measured, {least} wanted"
    if left_out:
        words += f"; {name_list(left_out)} is a reproduction and does not count"
    todo = () if len(used) >= least else (f"find and measure {least - len(used)} more of the originals",)
    return Answer(len(used) >= least, words, len(used), least, todo, tuple(used.values()))


def judge_critical(bench: Bench) -> Answer:
    """Share of the critical features that were measured on an original."""
    criticals = bench.criticals
    if not criticals:
        return Answer(False, "no critical features are named", 0, 1, ("name the critical features",))
    found = {feature: find_readings(bench, feature) for feature in criticals}
    missing = [feature for feature, keys in found.items() if not keys]
    share = 1 - len(missing) / len(criticals)
    words = count_words(len(criticals) - len(missing), len(criticals), "critical features", "measured")
    want = 1.0 if bench.need.share is None else bench.need.share
    todo = tuple(f"measure {feature} ({bench.part.features[feature].what}) on an original" for feature in missing)
    evidence = tuple(dict.fromkeys(f"measurements.{key}" for keys in found.values() for key in keys))
    met = share >= want - 1e-9
    return Answer(met, words + (f"; missing {name_list(missing)}" if missing else ""), share, want, todo, evidence)


def judge_calibration(bench: Bench) -> Answer:
    """Whether what was measured was read with an instrument in calibration.

    A reading out of calibration does not count; it is a fault only where a critical feature has no other.
    """
    made = {key: m for key, m in bench.part.measurements.items() if bench.is_past(m.on)}
    fit = {f for m in made.values() if is_in_calibration(bench, m) for f in m.gives}
    wanted = set(bench.criticals or bench.features) - fit
    out = [key for key, m in made.items() if not is_in_calibration(bench, m)]
    bad = out if not fit else [key for key in out if wanted & set(made[key].gives)]
    total = len(made)
    if total == 0:
        return Answer(False, "nothing was measured yet", 0, 1, ("measure an original",))
    words = "every instrument was in calibration" if not out else f"out of calibration: {name_list(out)}"
    share = 1 - len(bad) / total
    again = tuple(f"measure {bench.part.measurements[key].of} again in calibration ({key})" for key in bad)
    return Answer(not bad, words, share, 1, again)


def compute_ratio(bench: Bench, feature: str) -> float | None:
    """Return limits (half their span) over expanded uncertainty for the best reading of a length; None if unknown."""
    entry = bench.part.features[feature]
    if entry.limits is None or entry.limits.lower is None or entry.limits.upper is None:
        return None
    factor = LENGTH_UNITS.get(entry.unit)
    if factor is None:
        return None
    half = (entry.limits.upper - entry.limits.lower) / 2 * factor
    ratios = []
    for key in find_readings(bench, feature):
        measurement = bench.part.measurements[key]
        instrument = bench.catalogues.resources.instruments.get(measurement.with_)
        warmth = find_warmth(bench, measurement)
        parts, _ = build_uncertainty_parts(measurement.gives[feature], entry, instrument, warmth)
        expanded = compute_expanded(parts)
        if expanded is not None:
            ratios.append(half / expanded)
    return max(ratios, default=None)


def judge_ratio(bench: Bench) -> Answer:
    """Whether the limits are wide enough against the uncertainty of the readings (common practice: 4 least)."""
    least = bench.need.least or bench.catalogues.money.ratio_least
    ratios = {f: r for f in bench.criticals if (r := compute_ratio(bench, f)) is not None}
    if not ratios:
        return Answer(True, "no critical length was measured yet, or none has two limits", None, least)
    worst = min(ratios, key=lambda f: ratios[f])
    weak = [f for f, ratio in ratios.items() if ratio < least]
    words = f"limits are {ratios[worst]:.1f} times the uncertainty at {worst}; {least:g} wanted"
    todo = tuple(f"measure {f} with something finer: pin, micrometer or functional gauge" for f in weak)
    return Answer(not weak, words, ratios[worst], least, todo)


def judge_safety_review(bench: Bench) -> Answer:
    """Whether a part that can hurt someone has its regulations looked up and a test plan."""
    review = bench.part.safety_review
    if bench.part.safety is SafetyLevel.S0:
        return Answer(True, "cosmetic part: no review wanted")
    if review is None or not bench.is_past(review.on):
        todo = ("have the regulations reviewed and a test plan written; add `safety_review`",)
        return Answer(False, f"class {bench.part.safety}: no regulatory review and no test plan", 0, 1, todo)
    words = f"reviewed on {review.on} against {name_list(review.regulations)}"
    return Answer(True, words, 1, 1)


def judge_revision(bench: Bench) -> Answer:
    """Whether there is a model, with its file intact: the one that was current on the day that is looked at."""
    current = bench.current
    if current is None:
        return Answer(False, "no model yet", 0, 1, ("model the part: `pipeline revise`",))
    if not bench.has_file(bench.part.revisions[current].file):
        return Answer(False, f"revision {current} has no intact model file", 0, 1, (f"attach the model of {current}",))
    return Answer(
        True, f"revision {current} of {bench.part.revisions[current].on}", 1, 1, (), (f"revisions.{current}",)
    )


def judge_source(bench: Bench) -> Answer:
    """Share of the critical features whose model traces to measurements that count."""
    named = {m for revision in bench.part.revisions.values() if bench.is_past(revision.on) for m in revision.from_}
    criticals = bench.criticals
    if not criticals:
        return Answer(False, "no critical features are named", 0, 1, ("name the critical features",))
    traced = [f for f in criticals if set(find_readings(bench, f)) & named]
    measured = [f for f in criticals if find_readings(bench, f)]
    share = len(traced) / len(criticals)
    want = 1.0 if bench.need.share is None else bench.need.share
    words = count_words(len(traced), len(criticals), "critical features", "traced to measurements")
    rest = [f for f in criticals if f not in traced]
    todo = tuple(
        f"add the measurement of {f} to `from` of the revision" if f in measured else f"measure {f} first" for f in rest
    )
    return Answer(share >= want - 1e-9, words, share, want, todo)


def judge_stacks(bench: Bench) -> Answer:
    """Whether every interface with a stack keeps its gap, at least by root-sum-square."""
    stacked = [key for key in bench.interfaces if bench.part.interfaces[key].stack]
    if not stacked:
        return Answer(True, "no interface has a stack", None, None)
    from pipeline.fit.stack import StackVerdict
    from pipeline.gates.stacks import compute_interface

    bad: dict[str, str] = {}
    for key in stacked:
        result = compute_interface(bench.part, key)
        if isinstance(result, str):
            bad[key] = result
        elif result.verdict is StackVerdict.NOT_HELD:
            span = result.rss
            bad[key] = f"gap {span.low_mm:.2f} to {span.high_mm:.2f} mm by root-sum-square"
    good = len(stacked) - len(bad)
    words = count_words(good, len(stacked), "stacks", "keep their gap")
    todo = tuple(f"tighten or shift {key}: {reason}" for key, reason in bad.items())
    return Answer(not bad, words, good, len(stacked), todo)
