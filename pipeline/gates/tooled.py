"""Requirements of the tooling gate: tools accepted, finished first articles, everything proven by what can prove it."""

from __future__ import annotations

import datetime as dt
from collections.abc import Iterator, Mapping

from pipeline.gates.hardness_readings import is_other_scale
from pipeline.gates.judgement import Answer, Bench, count_words, find_outside, name_list
from pipeline.gates.tried import describe_cell, is_seen
from pipeline.lineage.coverage import CellState, compute_coverage
from pipeline.model.part import FirstArticle, Reading, Test, Tool
from pipeline.model.words import Result, Role, SafetyLevel, ToolStep

FIRST_ARTICLE_PROCESS = "first-article"
SIGNATURE = "tooling.second-signature"


def find_tools(bench: Bench) -> dict[str, Tool]:
    """Return the tools of a part by name: its own, and those that it shares with another part's record."""
    tools = dict(bench.part.tools)
    for use in bench.part.uses_tools:
        number, name = use.split("/")
        other = bench.workspace.parts.get(number)
        if other is not None and name in other.tools:
            tools[name] = other.tools[name]
    return tools


def judge_accepted(bench: Bench) -> Answer:
    """Whether every tool is accepted."""
    tools = find_tools(bench)
    if not tools:
        return Answer(True, "no tool is needed", None, None)
    done = [key for key, tool in tools.items() if bench.is_past(tool.steps.get(ToolStep.ACCEPTED))]
    rest = {key: tool for key, tool in tools.items() if key not in done}
    words = count_words(len(done), len(tools), "tools", "accepted")
    todo = tuple(_word_way(bench, key, tool) for key, tool in rest.items())
    return Answer(not rest, words, len(done), len(tools), todo, tuple(f"tools.{key}" for key in done))


def _word_way(bench: Bench, key: str, tool: Tool) -> str:
    """Say how far a tool has to go, and with which command; a tool that another record keeps moves on there."""
    keeper = next((use.split("/")[0] for use in bench.part.uses_tools if use.split("/")[1] == key), bench.part.part)
    number = bench.part.part if key in bench.part.tools else keeper
    return f"bring {key} from {tool.state or 'not quoted'} to accepted (`pipeline tool {number} {key}`)"


def find_good_articles(bench: Bench) -> tuple[str, ...]:
    """Return the first articles that count: good, inside the limits, finished, settings on record, enough pieces.

    One that another off the same tools refuted, on the same day or later, does not count: a bad piece of that day says
    that the tool does not hold its size, until a newer good one is there (common practice, no source).
    """
    least = int(bench.need.least or 3)
    return tuple(
        key
        for key, article in bench.part.first_articles.items()
        if bench.counts(f"first_articles.{key}") and not list(_find_faults(bench, article, least))
    )


def _find_refuting(bench: Bench, article: FirstArticle) -> Iterator[tuple[str, str]]:
    """Yield the first articles off the same tools, not older than this one, that speak against it, and how."""
    for key, other in bench.part.first_articles.items():
        is_same = other.hand is article.hand and set(other.tools) & set(article.tools)
        if other is article or not is_same or other.on < article.on or not bench.counts(f"first_articles.{key}"):
            continue
        when = "after it" if other.on > article.on else "on the same day"
        if other.result is Result.BAD:
            yield key, f"{key} came out bad {when}"
        elif any(_word_outside(bench, other.gives)):
            yield key, f"{key} reads outside its limits {when}"


def _find_faults(bench: Bench, article: FirstArticle, least: int) -> Iterator[str]:
    if article.result is not Result.GOOD:
        yield f"its result is {article.result}"
    yield from _word_outside(bench, article.gives)
    if not article.finished:
        yield "its pieces are not finished"
    if article.pieces < least:
        yield f"{article.pieces} pieces of every cavity, {least} wanted"
    if not bench.has_file(article.settings):
        yield "its process settings are not on record"
    if not _is_accepted(bench, article):
        yield "nobody else has seen it"
    yield from (words for _, words in _find_refuting(bench, article))


def _word_outside(bench: Bench, gives: Mapping[str, Reading | tuple[float, ...]]) -> Iterator[str]:
    """Say which readings lie outside their limits: whatever a result is called, they prove nothing good."""
    for name, given in gives.items():
        feature = bench.part.features.get(name)
        outside = find_outside(given, feature)
        if outside and feature is not None:
            shown = ", ".join(f"{value:g}" for value in outside)
            yield f"{name} reads {shown} {feature.unit}, outside its limits"


def _is_accepted(bench: Bench, article: FirstArticle) -> bool:
    return SIGNATURE not in bench.wants or is_seen(article)


def judge_first_article(bench: Bench) -> Answer:
    """Whether finished pieces of every cavity were accepted, with the process settings that made them."""
    least = int(bench.need.least or 3)
    good = find_good_articles(bench)
    if good:
        pieces = max(bench.part.first_articles[key].pieces for key in good)
        words = f"{name_list(good)}: {pieces} finished pieces of every cavity"
        return Answer(True, words, pieces, least, (), tuple(f"first_articles.{key}" for key in good))
    if not bench.part.first_articles:
        return Answer(False, "no first article yet", 0, least, (f"inspect {least} finished pieces of every cavity",))
    articles = bench.part.first_articles
    key = max(articles, key=lambda k: (articles[k].on, articles[k].result is Result.GOOD, k))
    faults = list(_find_faults(bench, articles[key], least))
    words = f"{key}: {'; '.join(faults) or 'went stale'}"
    bad = [other for other, _ in _find_refuting(bench, articles[key])] or [key]
    return Answer(False, words, articles[key].pieces, least, (f"make a first article that mends {name_list(bad)}",))


def judge_refit(bench: Bench) -> Answer:
    """Share of applications x hands on which a finished first article was fitted."""
    articles = bench.part.first_articles
    coverage = compute_coverage(
        bench.part, bench.lineage, bench.counts, lambda check: check.with_ in articles, bench.applications
    )
    want = 1.0 if bench.need.share is None else bench.need.share
    words = count_words(coverage.good, len(coverage.cells), "applications and hands", "refitted with a first article")
    rest = [cell for cell in coverage.cells if cell.state is not CellState.GOOD]
    met = coverage.share >= want - 1e-9
    todo = () if met else tuple(f"with a first article: {describe_cell(cell)}" for cell in rest)
    return Answer(met, words, coverage.share, want, todo)


def is_competent(bench: Bench, test: Test) -> bool:
    """True when a test that needs a laboratory was made by one, or by a licensed engineer."""
    process = bench.catalogues.processes.processes.get(test.kind)
    if process is None or not process.laboratory:
        return process is not None
    supplier = bench.catalogues.suppliers.suppliers.get(test.at or "")
    person = bench.catalogues.people.people.get(test.by)
    roles = set() if person is None else set(person.roles)
    accredited = supplier is not None and supplier.accredited is not None
    return accredited or bool(roles & {Role.LABORATORY, Role.LICENSED_ENGINEER})


def find_good_tests(bench: Bench) -> tuple[str, ...]:
    """Return the tests that count: good, inside the limits, competent, with a report that is intact."""
    return tuple(
        key
        for key, test in bench.part.tests.items()
        if test.result is Result.GOOD
        and not any(_word_outside(bench, test.gives))
        and bench.counts(f"tests.{key}")
        and bench.has_file(test.file)
        and is_competent(bench, test)
    )


def find_proof(bench: Bench, feature: str) -> str | None:
    """Return the evidence that proves a feature of the finished part, None where none does.

    The latest test or first article that can prove the feature decides: a bad one, or one that reads outside the limits
    whatever it is called, takes the proof of an older one away.
    """
    verdicts = sorted(_find_verdicts(bench, feature))
    return verdicts[-1][2] if verdicts and not verdicts[-1][1] else None


def _find_verdicts(bench: Bench, feature: str) -> Iterator[tuple[dt.date, bool, str]]:
    """Yield (day, whether it came out bad, node id) of all that can prove a feature and was judged."""
    good = find_good_tests(bench)
    for key, test in bench.part.tests.items():
        given = test.gives.get(feature)
        if given is not None and is_other_scale(given, bench.part.features[feature]):
            continue  # a converted hardness is no proof
        is_bad = test.result is Result.BAD or bool(find_outside(test.gives.get(feature), bench.part.features[feature]))
        if (is_bad or key in good) and bench.covers(f"tests.{key}", feature) and bench.can_prove(test.kind, feature):
            yield test.on, is_bad, f"tests.{key}"
    if not bench.can_prove(FIRST_ARTICLE_PROCESS, feature):
        return
    for key, article in bench.part.first_articles.items():
        outside = find_outside(article.gives.get(feature), bench.part.features[feature])
        is_bad = article.result is Result.BAD or bool(outside)
        is_good = article.result is Result.GOOD and _is_accepted(bench, article)
        if (is_bad or is_good) and article.finished and bench.covers(f"first_articles.{key}", feature):
            yield article.on, is_bad, f"first_articles.{key}"


def judge_proofs(bench: Bench) -> Answer:
    """Share of the critical features proven by evidence whose kind can prove them."""
    criticals = bench.criticals
    if not criticals:
        return Answer(False, "no critical features are named", 0, 1, ("name the critical features",))
    proofs = {feature: find_proof(bench, feature) for feature in criticals}
    missing = [feature for feature, proof in proofs.items() if proof is None]
    share = 1 - len(missing) / len(criticals)
    want = 1.0 if bench.need.share is None else bench.need.share
    words = count_words(
        len(criticals) - len(missing), len(criticals), "critical features", "proven on the finished part"
    )
    todo = tuple(f"prove {f} ({bench.part.features[f].what}) on a finished piece" for f in missing)
    evidence = tuple(dict.fromkeys(p for p in proofs.values() if p is not None))
    return Answer(share >= want - 1e-9, words, share, want, todo, evidence)


def judge_article_signature(bench: Bench) -> Answer:
    """Whether the first articles that count were seen by somebody else than the one who inspected them."""
    counted = [k for k in bench.part.first_articles if bench.counts(f"first_articles.{k}")]
    if not counted:
        return Answer(False, "no first article to sign yet", 0, 1, ())
    alone = [key for key in counted if not is_seen(bench.part.first_articles[key])]
    seen = [key for key in counted if key not in alone]
    words = "seen by a second person" if not alone else f"seen by one person only: {name_list(alone)}"
    todo = tuple(f"have somebody else look at {key} and add `seen_by`" for key in alone) if not seen else ()
    return Answer(bool(seen), words, len(seen), len(counted), todo)


def judge_safety_tests(bench: Bench) -> Answer:
    """Whether a part that can hurt someone was tested by a competent laboratory or a licensed engineer.

    A test that came out bad, or reads outside the limits, not before a good one of the same kind takes it away.
    """
    if bench.part.safety is SafetyLevel.S0:
        return Answer(True, "cosmetic part: no laboratory test wanted")
    processes = bench.catalogues.processes.processes
    done = [key for key in find_good_tests(bench) if processes[bench.part.tests[key].kind].laboratory]
    refuting = tuple(dict.fromkeys(bad for key in done for bad in _find_bad_tests(bench, bench.part.tests[key])))
    words = f"tested: {name_list(done)}" if done else f"class {bench.part.safety}: no test by a competent laboratory"
    if refuting:
        words = f"came out bad since: {name_list(refuting)}"
    met = bool(done) and not refuting
    todo = () if met else ("have it tested as the safety review plans; the program never says that a part is safe",)
    return Answer(met, words, len(done), 1, todo, tuple(f"tests.{key}" for key in done))


def _find_bad_tests(bench: Bench, good: Test) -> Iterator[str]:
    for key, test in bench.part.tests.items():
        is_later = test.kind == good.kind and test.on >= good.on
        is_bad = test.result is Result.BAD or any(_word_outside(bench, test.gives))
        if is_later and is_bad and bench.counts(f"tests.{key}"):
            yield key


def judge_children(bench: Bench) -> Answer:
    """Whether every part of the assembly is released: the slowest child governs."""
    numbers = [c.part for c in bench.part.made_of.values() if c.part is not None]
    bought = [k for k, c in bench.part.made_of.items() if c.bought is not None and not c.from_]
    if not numbers and not bought:
        return Answer(True, "it waits for no other part", None, None)
    then = {number for number, day in bench.once.items() if bench.is_past(day)}
    waiting = [n for n in numbers if n not in (then if bench.lenient else bench.released)]
    done = len(numbers) - len(waiting)
    released = [count_words(done, len(numbers), "parts of the assembly", "released")] if numbers else []
    words = "; ".join([*released, *(f"{key} has no source" for key in bought)])
    todo = [f"release {number} first" for number in waiting] + [f"find a source for {key}" for key in bought]
    return Answer(not waiting and not bought, words, done, len(numbers), tuple(todo))
