"""The solved budgets of the spending page as a data file: a script, so that it opens by double click too."""

from __future__ import annotations

import json

from pipeline.views.shapes_spend import SpendPage

_APART = "<!--point-->"


def write_points(view: SpendPage, rendered: str) -> str:
    """Return `window.spendPoints = [...];`: budget, its words and the finished panel of each point.

    rendered : what the template `spend_data.html` made of the view, figures filled in. Markup from records is escaped
    there, so that no text of a record can look like what stands between two panels.
    """
    panels = rendered.split(_APART)[1:]
    rows = [
        {"budget": point.budget, "words": point.budget_words, "panel": panel.strip()}
        for point, panel in zip(view.points, panels, strict=True)
    ]
    lines = ",\n".join(json.dumps(row, separators=(",", ":")).replace("</", "<\\/") for row in rows)
    return f"window.spendPoints = [\n{lines}\n];\n"
