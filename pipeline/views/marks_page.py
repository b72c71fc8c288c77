"""The legend of the site: every mark with its meaning."""

from __future__ import annotations

from pipeline.views.addresses import MARKS
from pipeline.views.shapes_legend import build_marks_page
from pipeline.views.shapes_site import MarksPage, PageHead


def build_legend() -> MarksPage:
    """Make the page of marks."""
    return build_marks_page(
        PageHead("What the marks mean", MARKS, "The language of the workshop drawing, as this site speaks it.")
    )
