"""Tables of invented gauge studies and runs of pieces: what they come to follows from the record's own limits."""

from __future__ import annotations

import numpy as np

from pipeline.demo.evidence_points import Floats, build_seed
from pipeline.model.part import Feature, GaugeStudy, Part, SampleRun

_PEOPLE = ("bram", "nell", "oda")
_GAUGE, _PIECES = 0.03, 0.16
"""Standard deviations of one reading and of the pieces, as shares of the width of the limits."""


def build_study(part: Part, key: str, study: GaugeStudy) -> str:
    """Return the table of a gauge study: ten pieces, three people, three times each.

    The gauge spreads by three hundredths of the tolerance, so that it takes about a fifth of it.
    """
    feature = part.features[study.feature]
    rng = np.random.default_rng(build_seed(part.part, key, "study"))
    width = _find_width(feature)
    pieces = feature.nominal + width * _PIECES * _spread_out(rng, 10)
    habits = width * _GAUGE * 0.3 * _spread_out(rng, len(_PEOPLE))
    lines = [f"# invented data of a demonstration; {part.part} {key}, {study.on}, {study.with_}"]
    lines += [f"# unit: {feature.unit}", "part,appraiser,trial,value"]
    for who, habit in zip(_PEOPLE, habits.tolist(), strict=True):
        for piece, size in enumerate(pieces.tolist(), 1):
            noise = rng.normal(0.0, width * _GAUGE, 3)
            lines += [f"{piece},{who},{trial},{size + habit + n:.5f}" for trial, n in enumerate(noise.tolist(), 1)]
    return "\n".join(lines) + "\n"


def build_run(part: Part, key: str, run: SampleRun) -> str:
    """Return the table of thirty pieces in a row: a little over the middle, spread by a twelfth of the limits."""
    feature = part.features[run.feature]
    rng = np.random.default_rng(build_seed(part.part, key, "run"))
    width = _find_width(feature)
    values = feature.nominal + width * (0.06 + _spread_out(rng, 30) / 12)
    lines = [f"# invented data of a demonstration; {part.part} {key}, {run.on}, {run.with_}", f"# unit: {feature.unit}"]
    lines.append("piece,value")
    lines += [f"{piece},{value:.5f}" for piece, value in enumerate(values.tolist(), 1)]
    return "\n".join(lines) + "\n"


def _spread_out(rng: np.random.Generator, count: int) -> Floats:
    """Numbers with mean 0 and standard deviation 1."""
    noise = rng.normal(size=count)
    return np.asarray((noise - noise.mean()) / noise.std(ddof=1), dtype=np.float64)


def _find_width(feature: Feature) -> float:
    limits = feature.limits
    if limits is None or limits.lower is None or limits.upper is None:
        raise ValueError(f"{feature.what} has not two limits to spread pieces between")
    return limits.upper - limits.lower
