"""Why something is stale, as a line of words whose features lead to where they stand."""

from __future__ import annotations

import datetime as dt
import re

from pipeline.portfolio.portfolio import PartFile
from pipeline.views.addresses import find_part_page
from pipeline.views.shapes_marks import Line, Run, Tone
from pipeline.views.wording import word_day

_FEATURE = re.compile(r"`([^`]*)`")
_DAY = re.compile(r"\b(\d{4})-(\d{2})-(\d{2})\b")


def word_days(words: str) -> str:
    """Return words with their days as the trade writes them; what is no day of the calendar stays.

    >>> word_days("valid to 2027-01-15")
    'valid to 15 Jan 2027'
    """
    return _DAY.sub(_word_one, words)


def _word_one(match: re.Match[str]) -> str:
    try:
        return word_day(dt.date(*(int(one) for one in match.groups())))
    except ValueError:
        return match.group()


def build_reason_line(file: PartFile, words: str) -> Line:
    """Return a reason as a line; a feature in back ticks becomes its name, as a link to its readings."""
    runs: list[Run] = []
    for at, piece in enumerate(_FEATURE.split(words)):
        if not piece:
            continue
        feature = file.part.features.get(piece) if at % 2 else None
        if feature is None:
            runs.append(Run(f"`{piece}`") if at % 2 else Run(word_days(piece)))
        else:
            runs.append(Run(feature.what, Tone.STRONG, find_part_page(file.number, f"feature-{piece}")))
    return tuple(runs)


def word_features(file: PartFile, words: str) -> str:
    """Return a sentence in which features stand by their names instead of their ids, and days as they are spoken."""
    features = file.part.features
    named = _FEATURE.sub(lambda m: features[m.group(1)].what if m.group(1) in features else m.group(), words)
    return word_days(named)


def start_line(line: Line) -> Line:
    """Return a line that begins with a capital letter."""
    if not line:
        return line
    return (Run(line[0].text[:1].upper() + line[0].text[1:], line[0].tone, line[0].href), *line[1:])
