"""Why something is stale, as a line of words whose features lead to where they stand."""

from __future__ import annotations

import re

from pipeline.portfolio.portfolio import PartFile
from pipeline.views.addresses import find_part_page
from pipeline.views.shapes_marks import Line, Run, Tone

_FEATURE = re.compile(r"`([^`]*)`")


def build_reason_line(file: PartFile, words: str) -> Line:
    """Return a reason as a line; a feature in back ticks becomes its name, as a link to its readings."""
    runs: list[Run] = []
    for at, piece in enumerate(_FEATURE.split(words)):
        if not piece:
            continue
        feature = file.part.features.get(piece) if at % 2 else None
        if feature is None:
            runs.append(Run(piece, Tone.STRONG if at % 2 else Tone.PLAIN))
        else:
            runs.append(Run(feature.what, Tone.STRONG, find_part_page(file.number, f"feature-{piece}")))
    return tuple(runs)


def word_features(file: PartFile, words: str) -> str:
    """Return a sentence in which features stand by their names instead of their ids."""
    features = file.part.features
    return _FEATURE.sub(lambda m: features[m.group(1)].what if m.group(1) in features else m.group(1), words)
