"""The page that shows every mark with its meaning: the legend of the site, built from constants."""

from __future__ import annotations

from pipeline.views.shapes_marks import LimitsMark, Mark, RangeMark, Reading, ReadingShape, TrendMark
from pipeline.views.shapes_site import DrawingMeaning, Figure, MarkMeaning, MarksPage, PageHead

# Line kinds are named after ISO 128-2 (basic conventions for lines); what a line means here is our own.
_MEANINGS = (
    MarkMeaning(
        Mark.PROVEN,
        "Proven: the evidence is present, intact, fresh and strong enough, and a person with the right "
        "role decided so.",
        "continuous thick line",
    ),
    MarkMeaning(
        Mark.READY,
        "Ready for decision: all that the gate wants is in hand; somebody has to decide.",
        "continuous thin line with an arrowhead",
    ),
    MarkMeaning(Mark.IN_HAND, "Evidence in hand, more is wanted before anybody can decide.", "continuous thin line"),
    MarkMeaning(Mark.MISSING, "Not there yet: nothing has been put forward for this.", "dashed thin line"),
    MarkMeaning(
        Mark.PLANNED,
        "Planned, ordered or forecast: it is not evidence, only an intention with a date.",
        "long-dashed dotted line (chain line)",
    ),
    MarkMeaning(
        Mark.WAIVED,
        "Set aside under a waiver that names a risk owner and expires.",
        "long-dashed double-dotted line",
    ),
    MarkMeaning(
        Mark.STALE,
        "Stale: it was good and no longer counts, because something it was derived from has changed.",
        "hatched area, as of a cut section",
    ),
    MarkMeaning(Mark.HELD, "Held: work is interrupted by a decision.", "continuous thin line with zigzag (break line)"),
    MarkMeaning(Mark.DROPPED, "Dropped: given up by a decision.", "continuous thin line, crossed out"),
    MarkMeaning(Mark.NOT_NEEDED, "Nothing is wanted here.", "short rule"),
)

_DRAWINGS = (
    DrawingMeaning(
        "low, likely, high",
        RangeMark(20, 45, 90, 0, 100, "20 to 90, likely 45"),
        "A range is a dimension line: its end strokes are low and high, the solid lozenge is the likely value.",
    ),
    DrawingMeaning(
        "readings against limits",
        LimitsMark(
            -0.25,
            0.25,
            -0.4,
            0.4,
            (
                Reading("O1", -0.08, 0.06, ReadingShape.USED),
                Reading("O2", 0.09, 0.06, ReadingShape.NOS),
                Reading("O3", -0.3, 0.06, ReadingShape.LEFT_OUT),
                Reading("O4", 0.3, 0.06, ReadingShape.RESTORED),
            ),
            "limits -0.25 to +0.25; used original at -0.08, new old stock at +0.09, one left out at "
            "-0.30, restored at +0.30",
        ),
        "Tall strokes are the limits, the hair line is nominal. Dot: used original. Square: new old stock. "
        "Open dot: measured and left out. "
        "Open lozenge: restored. The bar through a reading is its expanded uncertainty, 95 %.",
    ),
    DrawingMeaning(
        "a sample of ours",
        LimitsMark(
            -0.25,
            0.25,
            -0.4,
            0.4,
            (Reading("S1", 0.12, 0.03, ReadingShape.SAMPLE), Reading("S2", 0.55, 0.03, ReadingShape.SAMPLE)),
            "limits -0.25 to +0.25; sample 1 at +0.12, sample 2 beyond the scale at +0.55",
        ),
        "Triangle: a sample or first article of our own. An arrow at the end of the scale is a reading beyond it.",
    ),
    DrawingMeaning(
        "trend",
        TrendMark((4, 6, 5, 7, 9, 8, 11), "4 rising to 11 over seven weeks"),
        "A trend line runs from the oldest to the newest value; the dot is today.",
    ),
)


def build_marks_page(head: PageHead, charts: tuple[Figure, ...] = ()) -> MarksPage:
    """Make the legend; ``charts`` are sample figures to show under it.

    >>> page = build_marks_page(PageHead("Marks", "marks.html"))
    >>> {entry.mark for entry in page.marks} == set(Mark)
    True
    """
    return MarksPage(head, _MEANINGS, _DRAWINGS, charts)
