"""The nine stages at which an error in a part can be found, in the order in which money is spent."""

from __future__ import annotations

import enum


class Stage(enum.IntEnum):
    """A stage of the cost-of-change ladder; later stages compare greater than earlier ones.

    ``TOOL_ORDERED`` means money is committed but no metal is cut; ``RELEASED`` means pieces are sold.
    Source: common practice (no source).

    >>> Stage.FIT_CHECK.words, Stage.TOOL_CUT > Stage.TOOL_ORDERED
    ('fit check', True)
    """

    MEASURE = 0
    MODEL = 1
    PROTOTYPE = 2
    FIT_CHECK = 3
    QUOTE = 4
    TOOL_ORDERED = 5
    TOOL_CUT = 6
    FIRST_ARTICLE = 7
    RELEASED = 8

    @property
    def words(self) -> str:
        """The stage in the trade's words, as records and pages write it."""
        return self.name.lower().replace("_", " ")


def parse_stage(words: str) -> Stage:
    """Find the stage that a record's words name.

    Raises ``ValueError`` with the list of stages when there is none of that name.

    >>> parse_stage("tool cut") is Stage.TOOL_CUT
    True
    """
    for stage in Stage:
        if stage.words == words:
            return stage
    raise ValueError(f'"{words}" is not a stage; write one of {", ".join(stage.words for stage in Stage)}')
