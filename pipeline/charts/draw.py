"""One door to every figure: a chart shape in, an SVG out."""

from __future__ import annotations

from pipeline.charts.ages import render_ages
from pipeline.charts.code import render_code
from pipeline.charts.columns import render_columns
from pipeline.charts.curves import render_curves
from pipeline.charts.deviation import render_deviations
from pipeline.charts.frontier import render_frontier
from pipeline.charts.ladder import render_ladder
from pipeline.charts.roundness import render_roundness
from pipeline.charts.spend import render_cash, render_spend
from pipeline.charts.spread import render_spread
from pipeline.charts.stack import render_stack
from pipeline.charts.tornado import render_tornado
from pipeline.views.shapes_charts import (
    AgeChart,
    Chart,
    ColumnChart,
    CurveChart,
    DeviationPlot,
    LadderChart,
    QrCode,
    RoundnessPlot,
    SpreadChart,
    StackDrawing,
)
from pipeline.views.shapes_money import TornadoChart
from pipeline.views.shapes_spend import CashChart, FrontierChart, SpendChart


def render_chart(chart: Chart) -> str:
    """Draw a figure as one SVG element: no date, script or inline style; colours as custom properties with fallbacks.

    The same shape gives the same bytes. Raises ValueError, naming the value, where a shape cannot be drawn.
    """
    match chart:
        case LadderChart():
            return render_ladder(chart)
        case DeviationPlot():
            return render_deviations(chart)
        case StackDrawing():
            return render_stack(chart)
        case RoundnessPlot():
            return render_roundness(chart)
        case SpreadChart():
            return render_spread(chart)
        case CurveChart():
            return render_curves(chart)
        case ColumnChart():
            return render_columns(chart)
        case AgeChart():
            return render_ages(chart)
        case TornadoChart():
            return render_tornado(chart)
        case SpendChart():
            return render_spend(chart)
        case CashChart():
            return render_cash(chart)
        case FrontierChart():
            return render_frontier(chart)
        case QrCode():
            return render_code(chart)
