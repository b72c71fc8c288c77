"""Requirements of the prototype and fit check gates."""

from __future__ import annotations

from pipeline.gates.judgement import Answer, Bench, count_words, name_list
from pipeline.lineage.coverage import Cell, CellState, compute_coverage
from pipeline.model.part import FirstArticle, FitCheck
from pipeline.model.words import Hand, Result

SIGNATURE = "fit-check.second-signature"


def judge_built(bench: Bench) -> Answer:
    """Whether a prototype exists that still stands for the current model."""
    good = tuple(f"prototypes.{key}" for key in bench.part.prototypes if bench.counts(f"prototypes.{key}"))
    least = int(bench.need.least or 1)
    if len(good) >= least:
        names = name_list([g.split(".", 1)[1] for g in good])
        stand = "stands" if len(good) == 1 else "stand"
        return Answer(True, f"{names} {stand} for the model", len(good), least, (), good)
    current = bench.lineage.current
    stale = [key for key in bench.part.prototypes if not bench.counts(f"prototypes.{key}")]
    stand = "stands" if len(stale) == 1 else "stand"
    words = f"{name_list(stale)} no longer {stand} for revision {current}" if stale else "no prototype yet"
    if good and not stale:
        words = count_words(len(good), least, "prototypes", "stand for the model")
    todo = (f"build a prototype of revision {current}" if current else "model the part first",)
    return Answer(False, words, len(good), least, todo)


def judge_proves(bench: Bench) -> Answer:
    """Share of the critical features that some prototype shows, by a process that can prove them."""
    criticals = bench.criticals
    if not criticals:
        return Answer(False, "no critical features are named", 0, 1, ("name the critical features",))
    shown: dict[str, str] = {}
    for feature in criticals:
        for key in bench.part.prototypes:
            if bench.covers(f"prototypes.{key}", feature):
                shown[feature] = f"prototypes.{key}"
    missing = [f for f in criticals if f not in shown]
    share = len(shown) / len(criticals)
    want = 1.0 if bench.need.share is None else bench.need.share
    words = count_words(len(shown), len(criticals), "critical features", "shown by a prototype that can prove them")
    todo = tuple(f"build a sample that can prove {f} ({bench.part.features[f].what})" for f in missing)
    evidence = tuple(dict.fromkeys(shown.values()))
    return Answer(share >= want - 1e-9, words, share, want, todo if share < want - 1e-9 else (), evidence)


def find_good_checks(bench: Bench) -> tuple[str, ...]:
    """Return the keys of the fit checks that count, came out good, and were seen by a second person where wanted."""
    return tuple(key for key in _find_counted(bench) if _is_accepted(bench, bench.part.fit_checks[key]))


def _find_counted(bench: Bench) -> tuple[str, ...]:
    checks = bench.part.fit_checks.items()
    return tuple(k for k, check in checks if check.result is Result.GOOD and bench.counts(f"fit_checks.{k}"))


def _is_accepted(bench: Bench, check: FitCheck) -> bool:
    """True unless a check came out good in the eyes of one person only and a second one is wanted."""
    return check.result is not Result.GOOD or SIGNATURE not in bench.wants or is_seen(check)


def is_seen(entry: FitCheck | FirstArticle) -> bool:
    """True when somebody else than the one who made it has seen it."""
    return entry.seen_by is not None and entry.seen_by != entry.by


def _describe_unsigned(bench: Bench, cell: Cell) -> str:
    """Return what to do about a cell: sign what is there, else try it."""
    for key in _find_counted(bench):
        check = bench.part.fit_checks[key]
        if (check.fits, check.hand) == (cell.application, cell.hand) and not _is_accepted(bench, check):
            return f"have somebody else look at {key} and add `seen_by`"
    return describe_cell(cell)


def describe_cell(cell: Cell) -> str:
    """Return what to do about one application on one hand."""
    hand = "" if cell.hand is Hand.NONE else f", {cell.hand} hand"
    if cell.state is CellState.BAD:
        return f"mend what did not fit on {cell.application}{hand} ({cell.check})"
    if cell.state is CellState.OPEN:
        return f"judge {cell.check} on {cell.application}{hand}"
    again = f" again ({cell.check} is stale)" if cell.state is CellState.STALE else ""
    return f"try it on {cell.application}{hand}{again}"


def judge_coverage(bench: Bench) -> Answer:
    """Share of applications x hands with a good fit check that counts."""
    coverage = compute_coverage(
        bench.part, bench.lineage, bench.counts, lambda check: _is_accepted(bench, check), bench.applications
    )
    want = 1.0 if bench.need.share is None else bench.need.share
    thing = "applications" if bench.part.hands is None else "applications and hands"
    words = count_words(coverage.good, len(coverage.cells), thing, "fitted")
    rest = [cell for cell in coverage.cells if cell.state is not CellState.GOOD]
    evidence = tuple(f"fit_checks.{c.check}" for c in coverage.cells if c.state is CellState.GOOD)
    met = coverage.share >= want - 1e-9
    todo = () if met else tuple(_describe_unsigned(bench, cell) for cell in rest)
    return Answer(met, words, coverage.share, want, todo, evidence)


def judge_interfaces(bench: Bench) -> Answer:
    """Share of the interfaces whose gap was measured in a good fit check and lies within its limits."""
    interfaces = {key: bench.part.interfaces[key] for key in bench.interfaces}
    if not interfaces:
        return Answer(True, "the part has no interface", None, None)
    outside: dict[str, str] = {}
    measured: dict[str, str] = {}
    for key in find_good_checks(bench):
        for name, gaps in bench.part.fit_checks[key].gaps.items():
            limits = interfaces[name].gap.limits if name in interfaces else None
            if limits is None or not gaps:
                continue
            measured[name] = f"fit_checks.{key}"
            wrong = [gap for gap in gaps if not limits.is_inside(gap)]
            if wrong:
                outside[name] = f"{name}: {wrong[0]:g} {interfaces[name].gap.unit} in {key} is outside its limits"
    good = [name for name in interfaces if name in measured and name not in outside]
    share = len(good) / len(interfaces)
    want = 1.0 if bench.need.share is None else bench.need.share
    words = count_words(len(good), len(interfaces), "interfaces", "measured within limits")
    todo = [*outside.values(), *(f"measure the gap of {n} in a fit check" for n in interfaces if n not in measured)]
    return Answer(share >= want - 1e-9, words, share, want, tuple(todo), tuple(dict.fromkeys(measured.values())))


def is_coated_trial(bench: Bench, check: FitCheck) -> bool:
    """True when the sample that was tried was plated or painted as the part will be."""
    prototype = bench.part.prototypes.get(check.with_)
    if prototype is not None:
        process = bench.catalogues.processes.processes.get(prototype.process)
        return prototype.coated or (process is not None and process.coated)
    article = bench.part.first_articles.get(check.with_)
    return article is not None and article.finished


def judge_finish(bench: Bench) -> Answer:
    """Whether the fit of a plated part was decided on a plated sample, not on a bare one."""
    family = bench.catalogues.families.families.get(bench.part.family)
    coated = any(bench.part.features[key].coated for key in bench.features)
    if not (coated or (family is not None and family.plated)):
        return Answer(True, "the part is not plated", None, None)
    good = [key for key in find_good_checks(bench) if is_coated_trial(bench, bench.part.fit_checks[key])]
    words = f"fit decided on a plated sample ({name_list(good)})" if good else "every trial was made with a bare sample"
    todo = () if good else ("try a plated sample: plating closes every gap by its thickness",)
    return Answer(bool(good), words, len(good), 1, todo, tuple(f"fit_checks.{key}" for key in good))


def judge_fit_signature(bench: Bench) -> Answer:
    """Whether the fit checks that count were seen by somebody else than the one who made them."""
    counted = _find_counted(bench)
    if not counted:
        return Answer(False, "no good fit check to sign yet", 0, 1, ())
    alone = [key for key in counted if not is_seen(bench.part.fit_checks[key])]
    seen = [key for key in counted if key not in alone]
    words = "every fit check was seen by a second person"
    if alone:
        words = f"seen by one person only: {name_list(alone)}" + (", which does not count" if seen else "")
    todo = tuple(f"have somebody else look at {key} and add `seen_by`" for key in alone) if not seen else ()
    return Answer(bool(seen), words, len(seen), len(counted), todo, tuple(f"fit_checks.{key}" for key in seen))
