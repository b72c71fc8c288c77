"""From a record to the errors that are probably still in the part, one failure mode at a time.

Only fresh evidence counts as a check of the model as it is. Evidence that went stale still tells how error-prone the
part has been: what it found stays in the count, and its look stays in the belief about the part, not in what it proves.
Measurements make the model; they do not check it.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Collection, Iterator, Mapping
from dataclasses import dataclass

from pipeline.costing.errors_left import (
    Check,
    ClosedPart,
    FailureMode,
    ModeRow,
    Prior,
    Remaining,
    Sight,
    compute_miss,
    update_prior,
)
from pipeline.gates.judgement import Bench
from pipeline.gates.tooled import FIRST_ARTICLE_PROCESS, is_competent
from pipeline.lineage.coverage import find_hands
from pipeline.lineage.nodes import find_interface_features, find_tried_interfaces, is_provable
from pipeline.model import words
from pipeline.model.catalogue import NeedParameters, Process
from pipeline.model.part import Change, FitCheck
from pipeline.model.words import FeatureKind, LadderStage, Result
from pipeline.portfolio.portfolio import PartFile
from pipeline.portfolio.shop import Shop, keep_for_part, keep_for_shop

SURFACE_MODES = frozenset({FailureMode.APPEARANCE, FailureMode.MATERIAL_PROCESS, FailureMode.MARKING_LEGAL})
"""Modes that a trial on the vehicle shows no better than the sample itself does."""

KIND_MODES: Mapping[FeatureKind, FailureMode] = {
    **dict.fromkeys(
        (FeatureKind.THICKNESS, FeatureKind.HARDNESS, FeatureKind.MASS, FeatureKind.HEAT), FailureMode.MATERIAL_PROCESS
    ),
    **dict.fromkeys((FeatureKind.COLOUR, FeatureKind.FINISH), FailureMode.APPEARANCE),
    **dict.fromkeys((FeatureKind.TORQUE, FeatureKind.FORCE, FeatureKind.FUNCTION), FailureMode.FUNCTION),
    FeatureKind.MARKING: FailureMode.MARKING_LEGAL,
}
"""The mode in which a feature of a kind goes wrong; every other kind is a dimension."""


def convert_mode(mode: words.FailureMode) -> FailureMode:
    """Return the failure mode of the costing room for a record's word.

    >>> convert_mode(words.FailureMode.MATERIAL_PROCESS).value
    'material and process'
    """
    return FailureMode[mode.name]


def convert_detection(detects: Mapping[words.FailureMode, float]) -> dict[FailureMode, float]:
    """Return a catalogue's detection by the modes of the costing room."""
    return {convert_mode(mode): share for mode, share in detects.items()}


@dataclass(frozen=True)
class PartErrors:
    """What is probably still wrong with one part.

    rows : one for each mode for which the family has a prior. checks : what counts, with what it can see.
    stale : checks that no longer count, in words. open_changes : errors that are known and not corrected yet.
    closed : the shop's released parts of the family that moved the prior. defaults : the family's priors before that.
    no_prior : modes of which errors were recorded and the family has no prior.
    """

    rows: tuple[ModeRow, ...]
    checks: tuple[Check, ...]
    stale: tuple[str, ...]
    open_changes: tuple[str, ...]
    closed: tuple[str, ...]
    defaults: Mapping[FailureMode, Prior]
    no_prior: tuple[FailureMode, ...]

    @property
    def unseen(self) -> tuple[FailureMode, ...]:
        """The modes that no check so far can see."""
        return tuple(row.mode for row in self.rows if row.is_unseen)

    def find_row(self, mode: FailureMode) -> ModeRow | None:
        """Return the row of a mode, None where the family has no prior for it."""
        return next((row for row in self.rows if row.mode is mode), None)


@keep_for_part
def compute_part_errors(file: PartFile) -> PartErrors:
    """Return the errors that are probably left in a part, by failure mode.

    With `miss` = product of the misses of the fresh checks, `seen` the same over all checks ever made, and n errors
    found: left ~ Poisson(miss x rate), rate ~ Gamma(a + n, b + 1 - seen). Where nothing went stale the two products
    are one and this is the closed form of the costing room.
    """
    made = build_checks(file, lambda _: True)
    fresh = build_checks(file, file.lineage.is_fresh)
    priors, closed = find_priors(file)
    found = count_changes(file.part.changes.values())
    rows = tuple(_build_row(file, mode, priors[mode], fresh, made, found) for mode in FailureMode if mode in priors)
    return PartErrors(
        rows=rows,
        checks=tuple(fresh),
        stale=_name_stale(file),
        open_changes=tuple(
            f"{key}: {change.what}" for key, change in file.part.changes.items() if not is_corrected(change)
        ),
        closed=closed,
        defaults=_find_defaults(file),
        no_prior=tuple(mode for mode in FailureMode if mode in found and mode not in priors),
    )


def is_corrected(change: Change) -> bool:
    """True when a recorded error was mended: a revision mends it, or what it cost is known."""
    return change.fixed_in is not None or change.actual is not None


def count_changes(changes: Collection[Change]) -> dict[FailureMode, int]:
    """Return how many recorded errors there are of each mode that has any."""
    found: dict[FailureMode, int] = {}
    for change in changes:
        mode = convert_mode(change.mode)
        found[mode] = found.get(mode, 0) + 1
    return found


def _build_row(
    file: PartFile,
    mode: FailureMode,
    prior: Prior,
    fresh: list[Check],
    made: list[Check],
    found: Mapping[FailureMode, int],
) -> ModeRow:
    count = found.get(mode, 0)
    miss, seen = compute_miss(fresh, mode), compute_miss(made, mode)
    if count and seen == 1:
        seen = 1 - _find_unrecorded_look(file, mode)
    powers = [(check.name, check.compute_power(mode)) for check in fresh]
    return ModeRow(
        mode,
        prior,
        count,
        Remaining(prior.shape + count, prior.weight + 1 - seen, miss),
        tuple(Sight(name, power) for name, power in powers if power > 0),
        tuple(name for name, power in powers if power == 0),
    )


def _find_unrecorded_look(file: PartFile, mode: FailureMode) -> float:
    """Return the chance of the look that found an error though no check on record can see its mode."""
    processes = file.workspace.catalogues.processes
    chances = []
    for change in file.part.changes.values():
        if convert_mode(change.mode) is not mode:
            continue
        if change.found_at is LadderStage.FIT_CHECK:
            chances.append(processes.fit_check.get(change.mode, 0.0))
        pieces = processes.processes.get(FIRST_ARTICLE_PROCESS)
        if change.found_at is LadderStage.FIRST_ARTICLE and pieces is not None:
            chances.append(pieces.detects.get(change.mode, 0.0))
    return max(chances, default=0.0) or file.workspace.catalogues.money.beliefs.unrecorded_look


# --- priors ---------------------------------------------------------------------------------------


def _find_defaults(file: PartFile) -> dict[FailureMode, Prior]:
    family = file.workspace.catalogues.families.families[file.part.family]
    return {convert_mode(mode): Prior(prior.a, prior.b) for mode, prior in family.errors.items()}


@keep_for_shop
def count_released(shop: Shop) -> dict[str, dict[str, dict[FailureMode, int]]]:
    """Return, by family, how often each error was found in every released part, in the order of their numbers."""
    found: dict[str, dict[str, dict[FailureMode, int]]] = {}
    for number, file in sorted(shop.parts.items()):
        if file.standing.released:
            found.setdefault(file.part.family, {})[number] = count_changes(file.part.changes.values())
    return found


def find_priors(file: PartFile) -> tuple[dict[FailureMode, Prior], tuple[str, ...]]:
    """Return the family's priors, drawn towards the shop's own released parts, and those parts' numbers.

    A released part never moves its own prior: its errors are counted as found.
    """
    beliefs = file.workspace.catalogues.money.beliefs
    others = {n: found for n, found in count_released(file.shop).get(file.part.family, {}).items() if n != file.number}
    priors = {}
    for mode, default in _find_defaults(file).items():
        closed = [ClosedPart(count.get(mode, 0), beliefs.shown_share) for count in others.values()]
        priors[mode] = update_prior(default, closed, beliefs.prior_worth)
    return priors, tuple(others)


# --- checks ---------------------------------------------------------------------------------------


def build_checks(file: PartFile, counts: Callable[[str], bool]) -> list[Check]:
    """Return the checks on record that count: builds, rounds of fit checks, tests, first articles.

    counts : says whether a piece of evidence (by node id) counts.
    A build or a test looks at the features that it covers, out of those that its kind can prove. A round of fit checks
    is all that was tried with one sample; it covers its share of applications x hands, and of the interfaces there.
    """
    return [
        *_build_prototype_checks(file, counts),
        *_build_fit_checks(file, counts),
        *_build_test_checks(file, counts),
        *_build_article_checks(file, counts),
    ]


def name_process(file: PartFile, key: str) -> str:
    """Return a process in words."""
    process = file.workspace.catalogues.processes.processes.get(key)
    return key if process is None else process.name.lower()


def find_provable(file: PartFile, process: str) -> frozenset[str]:
    """Return the features of a part that a process can prove at all."""
    catalogues = file.workspace.catalogues
    return frozenset(key for key, feature in file.part.features.items() if is_provable(catalogues, process, feature))


def compute_feature_share(file: PartFile, node_id: str, process: str) -> float | None:
    """Return the share of what a process can prove that a piece of evidence covers; None where it can prove nothing."""
    provable = find_provable(file, process)
    return len(provable & set(file.lineage.nodes[node_id].covers)) / len(provable) if provable else None


def find_detection(process: Process | None) -> dict[FailureMode, float]:
    """Return what a sample shows on the bench; whether it fits shows only on the vehicle."""
    detects = {} if process is None else convert_detection(process.detects)
    return {mode: share for mode, share in detects.items() if mode is not FailureMode.FIT}


def _build_prototype_checks(file: PartFile, counts: Callable[[str], bool]) -> Iterator[Check]:
    for key, prototype in file.part.prototypes.items():
        node_id = f"prototypes.{key}"
        if counts(node_id):
            process = file.workspace.catalogues.processes.processes.get(prototype.process)
            share = compute_feature_share(file, node_id, prototype.process)
            name = f"{key}, {name_process(file, prototype.process)}"
            yield Check(name, find_detection(process), 1.0 if share is None else share)


def _build_fit_checks(file: PartFile, counts: Callable[[str], bool]) -> Iterator[Check]:
    rounds: dict[str, dict[str, FitCheck]] = {}
    for key, check in file.part.fit_checks.items():
        if check.result is not Result.OPEN and counts(f"fit_checks.{key}"):
            rounds.setdefault(check.with_, {})[key] = check
    for sample, tried in rounds.items():
        yield _build_round(file, sample, tried)


def _build_round(file: PartFile, sample: str, tried: Mapping[str, FitCheck]) -> Check:
    total = len(file.part.fits) * len(find_hands(file.part))
    cells = {(check.fits, check.hand): frozenset[str]() for check in tried.values()}
    for key, check in tried.items():
        cells[(check.fits, check.hand)] |= _find_interfaces(file, f"fit_checks.{key}", check)
    interfaces = len(file.part.interfaces)
    joined = math.fsum(len(found) / interfaces for found in cells.values()) if interfaces else float(len(cells))
    features = {f for key in tried for f in file.lineage.nodes[f"fit_checks.{key}"].covers}
    dimensions = {key for key, one in file.part.features.items() if one.kind not in KIND_MODES}
    shares = {FailureMode.FIT: min(1.0, joined / total)}
    if dimensions:
        shares[FailureMode.DIMENSION] = len(features & dimensions) / len(dimensions)
    done = min(1.0, len(cells) / total)
    name = f"{', '.join(tried)} with {sample}, {len(cells)} of {total} trials on a vehicle"
    return Check(name, find_fit_detection(file, _find_sample_process(file, sample)), done, shares)


def find_fit_detection(file: PartFile, process: Process | None) -> dict[FailureMode, float]:
    """Return what a trial on the vehicle shows; surface, material and marks no better than the sample itself does."""
    detects = convert_detection(file.workspace.catalogues.processes.fit_check)
    shown = {} if process is None else convert_detection(process.detects)
    return {m: min(share, shown.get(m, 0.0)) if m in SURFACE_MODES else share for m, share in detects.items()}


def _find_sample_process(file: PartFile, sample: str) -> Process | None:
    prototype = file.part.prototypes.get(sample)
    key = FIRST_ARTICLE_PROCESS if prototype is None else prototype.process
    return file.workspace.catalogues.processes.processes.get(key)


def _find_interfaces(file: PartFile, node_id: str, check: FitCheck) -> frozenset[str]:
    """Return the interfaces that a fit check looked at: measured, or all of whose features it covers."""
    if not check.gaps and not check.covers:
        return frozenset(find_tried_interfaces(file.part, check))
    covers = set(file.lineage.nodes[node_id].covers)
    looked = {key for key in file.part.interfaces if key in check.gaps}
    for key in file.part.interfaces:
        needs = set(find_interface_features(file.part, key))
        if needs and needs <= covers:
            looked.add(key)
    return frozenset(looked)


def _build_test_checks(file: PartFile, counts: Callable[[str], bool]) -> Iterator[Check]:
    bench = Bench(file.part, file.lineage, file.workspace, NeedParameters())
    for key, test in file.part.tests.items():
        node_id = f"tests.{key}"
        process = file.workspace.catalogues.processes.processes.get(test.kind)
        if process is None or test.result is Result.OPEN or not counts(node_id) or not is_competent(bench, test):
            continue
        share = compute_feature_share(file, node_id, test.kind)
        name = f"{key}, {name_process(file, test.kind)}"
        yield Check(name, convert_detection(process.detects), 0.0 if share is None else share)


def _build_article_checks(file: PartFile, counts: Callable[[str], bool]) -> Iterator[Check]:
    process = file.workspace.catalogues.processes.processes.get(FIRST_ARTICLE_PROCESS)
    for key, article in file.part.first_articles.items():
        node_id = f"first_articles.{key}"
        if article.result is Result.OPEN or not counts(node_id):
            continue
        detection = find_detection(process)
        if not article.finished:  # bare pieces show no finish
            detection.pop(FailureMode.APPEARANCE, None)
        share = compute_feature_share(file, node_id, FIRST_ARTICLE_PROCESS)
        words_ = "finished pieces" if article.finished else "unfinished pieces"
        yield Check(f"{key}, first article of {words_}", detection, 1.0 if share is None else share)


def _name_stale(file: PartFile) -> tuple[str, ...]:
    """Return the builds, trials, tests and first articles that no longer count."""
    sections = ("prototypes", "fit_checks", "tests", "first_articles")
    nodes = [node for node in file.lineage.nodes.values() if node.section in sections]
    return tuple(node.label for node in nodes if not file.lineage.is_fresh(node.id))
