"""Rich sample views (invented data) and a small renderer that needs no MkDocs: the test bed of the theme.

``python tests/site/theme_samples.py DIR`` writes every page type to DIR, to be looked at in a browser.
"""

# tables of sample data stay one line a row
# fmt: off

from __future__ import annotations

import random
import shutil
import sys
from dataclasses import replace
from math import cos, radians
from pathlib import Path

import jinja2

from pipeline.charts.draw import render_chart
from pipeline.sitegen.rendering import dress_environment
from pipeline.views import shapes as v
from pipeline.views.shapes import (
    Caution,
    Cell,
    Column,
    Commit,
    Figure,
    LadderChart,
    LadderStep,
    Link,
    Mark,
    PageHead,
    Run,
    Table,
    Tone,
    build_line,
)

THEME = Path(__file__).parents[2] / "pipeline" / "sitegen" / "theme"
S, F, B = Tone.SOFT, Tone.FLAG, Tone.STRONG
P, R, I, M, C, W, X, H, D, N = (  # noqa: E741
    Mark.PROVEN, Mark.READY, Mark.IN_HAND, Mark.MISSING, Mark.PLANNED,
    Mark.WAIVED, Mark.STALE, Mark.HELD, Mark.DROPPED, Mark.NOT_NEEDED,
)
HOSTILE = "<script>alert(1)</script> \"quoted\" & 'x' <img src=x onerror=alert(2)>"


def build_site() -> v.Site:
    """The facts of the sample site."""
    words = ("home", "What needs you", "index.html"), ("review", "Review", "review.html"), ("parts", "Parts", "parts/index.html")
    words += ("vehicles", "Vehicles", "vehicles.html"), ("spend", "Tooling spend", "sections.html"), ("method", "Method", "methods/ladder.html")
    words = (*words, ("rules", "Rules", "rules/index.html"))
    return v.Site(
        maker="Brackmoor Works",
        edition="internal",
        as_of="30 Nov 2026",
        commit="4f2c9ab",
        nav=tuple(v.NavItem(*one) for one in words),
        home_href="index.html",
        parts_href="parts/index.html",
        marks_href="marks.html",
        note="Everything here is invented.",
    )


def _text(words: str, mark: Mark | None = None, drawing: v.Drawing | None = None) -> Cell:
    return Cell(build_line(words), mark, drawing)


def build_ladder() -> LadderChart:
    steps = (
        ("measure", 612, 612, 612, "612"), ("model", 1523, 1523, 1523, "1,523"), ("prototype", 1900, 2065, 2400, "2,065"),
        ("fit check", 3100, 3588, 4200, "3,588"), ("quote", 4000, 4432, 5200, "4,432"), ("ordered, today", 5800, 6555, 8300, "6,555"),
        ("tool cut", 8155, 12725, 46955, "12,725 (8,155 to 46,955)"), ("first article", 15975, 20544, 54775, "20,544 (15,975 to 54,775)"),
        ("released", 29942, 34450, 68742, "34,450 (29,942 to 68,742)"),
    )
    return LadderChart(
        "What one change costs, by when it is found",
        "From 612 USD at measuring to 34,450 USD (29,942 to 68,742) after release; 6,555 USD if found today, with the tool ordered.",
        "USD",
        tuple(LadderStep(*one, now="today" in one[0]) for one in steps),
    )


def build_stack() -> v.StackDrawing:
    links = (v.StackLink("rim radius", -56.20, 0.125, 0.09), v.StackLink("flange bore radius", 57.00, 0.40, 0.87), v.StackLink("nickel-chrome build", -0.04, 0.01, 0.04))
    return v.StackDrawing("Rim to wing flange", "Gap 0.76 mm, 0.34 to 1.18 at 99.7 %; limits 0.30 to 1.20; measured 0.60, 0.80 and 0.70.", "mm", links, 0.34, 0.76, 1.18, 0.225, 1.295, 0.30, 1.20, (0.6, 0.8, 0.7))


def build_roundness() -> v.RoundnessPlot:
    angles = tuple(float(a) for a in range(0, 360, 5))
    rng = random.Random(4)
    trace = tuple(9 * cos(radians(3 * a + 20)) + 4 * cos(radians(2 * a)) + rng.uniform(-1.2, 1.2) for a in angles)
    return v.RoundnessPlot("Roundness of the rim seat", "Three-lobed, 26 micrometres peak to valley against 40.", angles, trace, 40.0)


def build_lineage() -> v.LineageDrawing:
    node = v.LineageNode
    at = "parts/TW-101.html#"
    nodes = (
        node("O1", 0, 0, "original", "O1", "used, left", P, at + "O1"), node("O2", 0, 1, "original", "O2", "new old stock", P, at + "O2"),
        node("O3", 0, 2, "original", "O3", "used, worn", I, at + "O3"), node("O4", 0, 3, "original", "O4", "restored", N, at + "O4"),
        node("M1", 1, 0, "measurement", "M1", "20 Jan, arm-1", P, at + "M1"), node("M2", 1, 1, "measurement", "M2", "20 Jan, arm-1", P, at + "M2"),
        node("M3", 1, 2, "measurement", "M3", "22 Jan, arm-1", P, at + "M3"),
        node("A", 2, 0, "revision", "rev A", "2 Feb", P, at + "A"), node("C", 2, 1, "revision", "rev C", "11 May, rim_od", P, at + "C"),
        node("D", 2, 2, "revision", "rev D", "2 Oct, boss_pitch", P, at + "D"),
        node("P1", 3, 1, "prototype", "P1", "of C, resin", X, at + "P1"), node("P2", 3, 2, "prototype", "P2", "of D, wanted", M, at + "evidence"),
        node("F1", 4, 0, "fit check", "F1", "saloon, left", X, at + "F1"), node("F2", 4, 1, "fit check", "F2", "estate, left", X, at + "F2"),
        node("F3", 4, 2, "fit check", "F3", "drophead", W, at + "coverage"),
        node("Q1", 5, 2, "quote", "Q1", "to 15 Jan", I, at + "Q1"),
        node("die", 6, 1, "tool", "die", "ordered 2 Nov", C, at + "tools"), node("gauge", 6, 3, "tool", "check gauge", "quoted", C, at + "tools"),
        node("trim", 7, 1, "tool", "trim die", "fits the die", C, at + "tools"), node("FA", 7, 2, "first article", "first article", "not yet", M, at + "gates"),
    )
    pairs = "O1 M1,O2 M2,O3 M3,M1 A,M2 A,M3 A,M1 C,M2 C,M3 C,M3 D,C P1,D P2,P1 F1,P1 F2,P2 F3,D Q1,F2 Q1,Q1 die,Q1 gauge,die trim,die FA,gauge FA"
    stale = {"C P1", "P1 F1", "P1 F2"}
    via = {"D Q1": ((3, 3), (4, 3)), "gauge FA": ()}
    edges = tuple(v.LineageEdge(*pair.split(), X if pair in stale else P, via.get(pair, ())) for pair in pairs.split(","))
    features = (
        v.LineageFeature("rim_od", "outside diameter", ("D", "P1", "P2", "F1", "F2", "F3", "Q1", "die", "gauge", "trim", "FA"), "everything after the measurements: D, P1, F1, F2, Q1, die, trim die, gauge; 14 to 22 weeks, 6,555 USD today"),
        v.LineageFeature("boss_pitch", "screw boss distance", ("P1", "F1", "F2", "Q1", "die", "gauge"), "P1, F1, F2, Q1, die and gauge; 5 weeks, 6,555 USD today"),
        v.LineageFeature("drain_slot", "drain slot position", ("die",), "the die alone; 1 to 3 weeks"),
    )
    return v.LineageDrawing(("originals", "measured", "revisions", "prototypes", "fit checks", "quotes", "tools", "fits, articles"), nodes, edges, features, "Lineage of TW-101 from four originals to the first article; P1, F1 and F2 are stale.")


def build_part() -> v.PartPage:
    rail = v.GateRail(
        (
            v.RailGate("measure", "proven", P, (v.RailPiece(P, 1),), (Run("3 originals of 4", S), Run("go, 30 Jan", S)), "parts/TW-101.html#gate-measure"),
            v.RailGate("model", "proven", P, (v.RailPiece(P, 1),), (Run("revision D, 2 Oct", S),), "parts/TW-101.html#gate-model"),
            v.RailGate("prototype", "stale", X, (v.RailPiece(X, 1),), (Run("P1 is revision C", F),), "parts/TW-101.html#gate-prototype"),
            v.RailGate("fit check", "stale", X, (v.RailPiece(X, 0.667), v.RailPiece(M, 0.333)), (Run("F1, F2 on revision C", F), Run("drophead: none", F)), "parts/TW-101.html#gate-fit"),
            v.RailGate("quote", "in work", I, (v.RailPiece(I, 1),), (Run("Q1 north-die, to 15 Jan", S),), "parts/TW-101.html#gate-quote"),
            v.RailGate("tooling", "ordered", C, (v.RailPiece(C, 1),), (Run("ordered 2 Nov", S), Run("cut planned 14 Dec", S)), "parts/TW-101.html#gate-tooling"),
        ),
        "Measure and model proven, prototype stale, fit check stale and one of three bodies missing, quote in work, tooling ordered",
    )
    req = v.RequirementLine
    gates = (
        v.GateDetail("gate-measure", "measure", "proven", P, (req(P, "at least 3 originals that count", build_line(Run("O1", href="parts/TW-101.html#O1"), ", ", Run("O2", href="parts/TW-101.html#O2"), ", O3; O4 is restored")), req(P, "every critical feature measured", build_line("3 of 3 critical features measured"))), build_line("go by Ito on 30 Jan 2026")),
        v.GateDetail("gate-model", "model", "proven", P, (req(P, "a model made from what was measured", build_line("revision D, from M1, M2 and M3")),)),
        v.GateDetail("gate-prototype", "prototype", "stale", X, (req(X, "a prototype of the revision to be tooled", build_line("P1 is revision C"), "print revision D", Link("G210", "rules/M104.html")),)),
        v.GateDetail("gate-fit", "fit check", "stale", X, (req(X, "a fresh fit check on each body", build_line("F1, F2 were made on revision C"), "refit revision D on saloon and estate"), req(W, "a fit check on the drophead", build_line("waived until metal is cut, risk: owner"), "no drophead yet; the waiver ends when metal is cut"), req(M, "evidence that sees plate build", (), "a plated sample: a print proves no plating")), build_line("go by Ito on 25 May 2026, drophead promised for June")),
        v.GateDetail("gate-quote", "quote", "in work", I, (req(I, "two quotes on the revision to be tooled", build_line("Q1 of north-die"), "a second quote on revision D"),)),
    )
    gates += (v.GateDetail("gate-tooling", "tooling", "ordered", C, (req(C, "an accepted first article", build_line("planned after the cut on 14 Dec")),)),)
    cell = v.MatrixCell
    coverage = v.CoverageMatrix(
        ("left", "right"),
        (
            v.CoverageRow(Link("saloon 1951–55", "vehicles.html#sedge"), (cell(X, "F1 stale", "parts/TW-101.html#F1"), cell(N, "mirror; slot checked on P1"))),
            v.CoverageRow(Link("estate 1951–55", "vehicles.html#sedge"), (cell(X, "F2 stale", "parts/TW-101.html#F2"), cell(N, "mirror"))),
            v.CoverageRow(Link("drophead 1956–59", "vehicles.html#sedge"), (cell(W, "waived"), cell(M, "missing"))),
        ),
        "0 of 3 bodies freshly covered",
        "No application is recorded. Write one under fits: in the record.",
    )
    reading, shape = v.Reading, v.ReadingShape
    working = v.Working(("mean of counted originals = (112.36 + 112.41) / 2 = 112.385", "U = 2.0 x sqrt(0.022^2 + 0.018^2 + 0.008^2) = 0.06"), (v.WorkingInput("arm", "MPE 0.038 mm", build_line("arm-1, calibrated 3 Jan 2026")), v.WorkingInput("temperature", "21.5 °C", build_line("M1, M2"))), "JCGM 100:2008, 5.1 and G.4", "Valid for readings taken on one day with one arm.", Link("Method", "methods/ladder.html"))
    features = (
        v.FeatureLine("rim_od", "outside diameter", True, "112.40", "±0.25", "mm", v.LimitsMark(-0.25, 0.25, -0.4, 0.4, (reading("O1", -0.04, 0.06), reading("O2", 0.01, 0.06, shape.NOS), reading("O3", -0.28, 0.06, shape.LEFT_OUT)), "limits -0.25 to +0.25 mm; O1 -0.04, O2 +0.01, O3 -0.28 left out"), "O1 used, O2 nos, O3 worn", build_line("limits hold; O3 left out as worn, 0.28 under"), P, working),
        v.FeatureLine("boss_pitch", "screw boss distance", True, "41.89", "±0.25", "mm", v.LimitsMark(-0.25, 0.25, -0.4, 0.4, (reading("O1", 0.03, 0.06), reading("O2", -0.03, 0.06, shape.NOS), reading("O3", -0.18, 0.06)), "limits -0.25 to +0.25 mm; O1 +0.03, O2 -0.03, O3 -0.18"), "O1 used, O2 nos, O3 worn", build_line("tolerance is 4.2 × uncertainty: just enough"), P),
        v.FeatureLine("drain_slot", "drain slot position", False, "0.00", "0 to 0.60", "mm", None, "none", build_line("not measured"), M),
        v.FeatureLine("plate", "nickel-chrome build", True, "40", "±10", "µm", v.LimitsMark(-10, 10, -16, 16, (reading("S1", 19, 1, shape.SAMPLE), reading("O2", 4, 2, shape.NOS)), "limits -10 to +10 µm; sample S1 beyond the scale at +19, O2 +4"), "O2 nos, S1 sample", build_line(Run("over the limit by 9 µm", F)), X),
    )
    ev, git = v.EvidenceLine, Commit("4f2c9ab", "20 Jan 2026", "Mara")
    reason = build_line("made on ", Run("P1", href="parts/TW-101.html#P1"), ", which is revision C; revision D changed ", Run("screw boss distance", B, "parts/TW-101.html#feature-boss_pitch"))
    evidence = (
        ev("O1", "original", "used, left", "", "all", "12 Jan 2026", "Mara", P, "counted", (), None, git),
        ev("M1", "measurement", "arm-1, 21.5 °C", "O1", "2 features", "20 Jan 2026", "Mara", P, "fresh", (), Link("o1-points.csv", "evidence/o1.csv"), git),
        ev("D", "revision", "third original was worn", "M1, M2, M3", "boss_pitch", "2 Oct 2026", "Mara", P, "current", (), Link("rim-d.stl", "evidence/rim-d.stl"), replace(git, doubt="recorded 3 days later")),
        ev("P1", "prototype", "resin print", "C", "fit, sight", "14 May 2026", "Mara", X, "stale since 2 Oct", build_line("revision D replaces C"), Link("p1.png", "evidence/p1.png"), git),
        ev("F1", "fit check", "saloon-3, left", "P1", "rim_to_wing", "20 May 2026", "Mara, seen by Ito", X, "stale since 2 Oct", reason, Link("f1.png", "evidence/f1.png"), git),
        ev("F2", "fit check", "estate-lent, left", "P1", "rim_to_wing", "21 May 2026", "Mara, seen by Ito", X, "stale since 2 Oct", reason, None, git),
        ev("Q1", "quote", "north-die", "D", "die, trim, rack, gauge, nest", "15 Oct 2026", "Lund", I, "46 days left", (), None, git),
    )
    evidence += tuple(
        ev(key, kind, "", "", "", "22 Jan 2026", "Mara", mark, words)
        for key, kind, mark, words in (("O2", "original", P, "counted"), ("O3", "original", I, "worn"), ("O4", "original", N, "not counted: restored"),
        ("M2", "measurement", P, "fresh"), ("M3", "measurement", P, "fresh"), ("A", "revision", N, "replaced by C"), ("C", "revision", N, "replaced by D"))
    )
    tools = Table(
        "Tools",
        (Column("tool"), Column("kind"), Column("forms or fits"), Column("price", "USD", True, True), Column("life", "shots", True, True), Column("state"), Column("place")),
        (
            v.Row((_text("die"), _text("die casting die"), _text("rim, bosses, slot"), _text("38,000"), _text("100,000"), _text("ordered 2 Nov", C), _text("north-die"))),
            v.Row((_text("trim"), _text("trim die"), _text("made to fit the die"), _text("6,500"), _text("100,000"), _text("ordered", C), _text("north-die"))),
            v.Row((_text("gauge"), _text("check gauge"), _text("checks rim, bosses"), _text("2,800"), _text("–"), _text("quoted", I), _text("–"))),
        ),
        "No tool is recorded yet. A quote brings them: write tools: in the record.",
        "data/tools.csv",
    )
    quotes = v.QuoteComparison(
        (v.QuoteColumn("Q1", Link("north-die", "sections.html"), "good to 15 Jan 2027", I, True), v.QuoteColumn("Q2", Link("Osier Castings", "sections.html"), "expired, revision C", X)),
        (
            v.QuoteGroup("What is in it", (v.QuoteRow("tools", "", ("die, trim, rack, gauge, nest", "die, trim"), False), v.QuoteRow("tool belongs to", "", ("us", "not stated"), False), v.QuoteRow("storage after the run", "", ("not stated", "2 years"), False))),
            v.QuoteGroup("On one footing", (v.QuoteRow("tool price", "USD", ("49,400", "44,100"), best=1), v.QuoteRow("landed unit cost at 800 a year", "USD", ("9.42", "10.87"), best=0), v.QuoteRow("present value, 5 years", "USD", ("78,310", "81,204"), best=0), v.QuoteRow("lead time", "weeks", ("24", "20"), best=1))),
        ),
        build_line("Q1 is cheaper above ", Run("410 a year", B), "; Q2 cannot support a release: it expired and was made on revision C."),
        "No quote is recorded. The buyer writes one under quotes: with its revision and day of expiry.",
        working,
    )
    loop = v.Section("loop", "Does another loop pay?", "before metal is cut", build_line("A plated sample costs ", Run("1,540 USD and 3 weeks", B), " and saves 1,768 USD net (chance that it pays 71 %)."), (Figure(v.SpreadChart("Net worth of another loop", "Most of the worth lies above zero; 29 % below.", "USD net", tuple(float(x) for x in range(-4000, 9000, 1000)), (2, 5, 9, 13, 18, 22, 20, 16, 11, 7, 4, 2), 0.0, None)), Figure(v.DeviationPlot("Prototype against nominal", "Two features, all within limits.", "mm", (v.DeviationRow("outside diameter", -0.25, 0.25, (v.DeviationPoint("P1", 0.08, 0.05), v.DeviationPoint("S1", -0.12, 0.05, shape.SAMPLE))), v.DeviationRow("boss distance", -0.25, 0.25, (v.DeviationPoint("P1", 0.21, 0.05), v.DeviationPoint("O3", -0.3, 0.05, shape.LEFT_OUT))))))), (), (), working, True)
    commit = Commit("9be01d7", "2 Oct 2026", "Mara")
    history = (
        v.HistoryLine("2 Nov 2026", "Lund", build_line("die and trim die ordered of north-die"), Commit("c3aa410", "2 Nov 2026", "Lund")),
        v.HistoryLine("2 Oct 2026", "Mara", build_line("revision D: ", Run("screw boss distance", B), " moved, third original was worn"), commit),
        v.HistoryLine("25 May 2026", "Ito", build_line("fit check: go"), replace(commit, short="77d02ce", doubt="the decision was recorded 6 days later")),
    )
    return v.PartPage(
        head=PageHead("TW-101 Side-lamp rim", "parts/TW-101.html", "Zinc die casting, plated; tooling ordered, fit checks stale", "parts", (Link("Parts", "parts/index.html"),)),
        block=v.TitleBlock("Side-lamp rim", "TW-101", "D", "revision D changed screw boss distance after the fit check", "S0 cosmetic", (Link("Tarnwick Sedge saloon, estate 1951–55", "vehicles.html#sedge"), Link("drophead 1956–59", "vehicles.html#sedge")), "zinc die casting, plated", "left and right, mirror except the drain slot", "Mara", "15 Oct 2026 (46 days)", "", "Confidential until 1 Apr 2027."),
        picture=v.Picture("img/rim.svg", "Side-lamp rim seen from the front: a plated ring with two screw bosses and a drain slot", 560, 400, "O2, new old stock"),
        no_picture="No picture yet. Put one beside the record and name it under picture:.",
        hold=v.HoldCall("Hold call", build_line("The die was ordered on 2 Nov on fit checks of revision C. Revision D moved ", Run("screw boss distance", B, "parts/TW-101.html#feature-boss_pitch"), ", which ", Run("F1", href="parts/TW-101.html#F1"), " and ", Run("F2", href="parts/TW-101.html#F2"), " cover. Metal is not cut yet: call the toolmaker. A change found today costs ", Run("6,555 USD", B), "; after first article 20,544 (15,975 to 54,775).")),
        cautions=(
            Caution("Nickel and chromium plating.", "Old plate may hold hexavalent chromium: do not grind or blast an original without extraction.", "Check local rules for plating waste; a competent plater decides."),
            Caution("Lamp rims sit near occupants and other road users.", "No sharp edge outside the contour.", "UN Regulation No. 26, external projections (from memory): check with the authority.", True),
        ),
        rail=rail,
        actions=(
            v.NextAction(build_line("Ask the toolmaker to wait."), "Die not cut until 14 Dec.", "Lund", "today"),
            v.NextAction(build_line("Print revision D and refit on saloon and estate."), "380 USD, 18 h, 2 weeks; pays 1,768 USD net.", "Mara"),
            v.NextAction(build_line("Fit a drophead, or extend ", Run("the waiver", href="parts/TW-101.html#gate-fit"), "."), "Waiver ends when metal is cut."),
            v.NextAction(build_line("Plated sample: nothing so far can see plate build."), "2,458 USD at stake."),
        ),
        no_action="Nothing to do: every gate so far is proven.",
        ladder=Figure(build_ladder(), build_line("Twelve times dearer at first article than at the drawing board; the shop's own ratio over 31 recorded changes is 9 to 14."), working),
        no_ladder="No cost can be worked out before a tool or a prototype has a price.",
        coverage=coverage,
        features=features,
        no_features="No feature is recorded. Write one under features: with its nominal and limits.",
        gates=gates,
        evidence=evidence,
        no_evidence="No evidence yet. Attach a measurement.",
        lineage=build_lineage(),
        interfaces=(v.InterfaceDetail("rim_to_wing", "rim to wing flange", "gap 0.30 to 1.20 mm", P, build_line("predicted 0.34 to 1.18, measured 0.60 to 0.80: fits, with 0.3 % outside"), build_stack(), Table("Contributors", (Column("contributor"), Column("nominal", "mm", True), Column("± half range", "mm", True), Column("share", "%", True)), (v.Row((_text("rim radius"), _text("−56.20"), _text("0.125"), _text("9"))), v.Row((_text("flange bore radius"), _text("57.00"), _text("0.400"), _text("87"))), v.Row((_text("nickel-chrome build"), _text("−0.04"), _text("0.010"), _text("4")))), "No contributor."), working),),
        quotes=quotes,
        tools=tools,
        further=(loop,),
        history=history,
        no_history="Git knows nothing of this record yet.",
        findings=(v.FindingLine(Link("L301", "rules/M104.html"), "error", "projects/TW-101/part.yaml:61:3", "decision go at gate fit check claims more than its evidence proves: F1 and F2 are stale", "refit revision D, or sign a no-effect statement for boss_pitch"),),
        record=Link("The record, projects/TW-101/part.yaml", "records/TW-101.yaml"),
        sheets=(Link("Part traveller, to print", "parts/TW-101.html"), Link("Tooling release sheet, to print", "parts/TW-101.html")),
    )


def build_bare_part() -> v.PartPage:
    """A part of which almost nothing is known, and every word of it hostile."""
    full = build_part()
    empty = Table("Tools", (Column("tool"),), (), "No tool is recorded yet.")
    dashed = v.GateRail(tuple(v.RailGate(g.name, "not started", M, (v.RailPiece(M, 1),), ()) for g in full.rail.gates), "nothing started")
    return replace(
        full, head=PageHead(HOSTILE, "parts/TW-000.html", HOSTILE, "parts", (Link(HOSTILE, "parts/index.html"),)),
        block=v.TitleBlock(HOSTILE, "TW-000", "–", "", "S2 critical", (Link(HOSTILE, "x\" onmouseover=\"alert(1)"),), HOSTILE, HOSTILE, HOSTILE, "none", HOSTILE, HOSTILE, HOSTILE),
        picture=None, hold=None, cautions=(), rail=dashed, actions=(), ladder=Figure(replace(build_ladder(), title=HOSTILE, words=HOSTILE)), gates=(), evidence=(), features=(), lineage=None, interfaces=(),
        coverage=v.CoverageMatrix((), (), "", "No application is recorded. Write one under fits: in the record."),
        quotes=v.QuoteComparison((), (), (), "No quote is recorded."), tools=empty, further=(), history=(), findings=(), sheets=(), record=Link(HOSTILE, "records/TW-000.yaml"),
    )


_NAMES = (
    ("Side-lamp rim", "zinc die casting, plated"), ("Hub dust cover", "deep drawn, plated"), ("Bonnet medallion insert", "moulded, masked, metallised"), ("Bonnet-catch torsion spring", "heat-treated spring"),
    ("Rear-seat cover set", "cut and sewn"), ("Horn trumpet bell", "spun aluminium"), ("Quarter-light hinge bracket", "investment cast stainless"), ("Courtesy lamp", "assembly"), ("Courtesy lamp lens", "moulded clear"),
    ("Heater control knob", "turned brass, plated"), ("Brake pedal pad", "compression moulded rubber"), ("Belt anchorage plate", "stamped, high strength"),
)
_FITS = (("Tarnwick Sedge saloon 1951–55", "Tarnwick Sedge", "saloon"), ("Tarnwick Sedge estate 1951–59", "Tarnwick Sedge", "estate"), ("Tarnwick Sedge drophead 1956–59", "Tarnwick Sedge", "drophead"), ("Tarnwick Rill coupé 1958–64", "Tarnwick Rill", "coupé"))
_GATES = ("measure", "model", "prototype", "fit check", "quote", "tooling")


_READINESS = ("1 requirement missing", "2 requirements missing", "3 or more requirements missing", "a decision is wanted")


def _build_row(at: int, rng: random.Random) -> v.PartRow:
    name, family = _NAMES[at % len(_NAMES)]
    if at >= len(_NAMES):
        name = f"{rng.choice(('Front', 'Rear', 'Inner', 'Outer', 'Upper', 'Lower'))} {name.lower()}"
    fits, vehicle, body = _FITS[rng.randrange(4) if at else 0]
    stage = rng.randrange(6) if at else 5
    mark = rng.choice((R, I, X, C, H, M)) if at else X
    rail = tuple(P if i < stage else mark if i == stage else M for i in range(6))
    who, safety = rng.choice(("Mara", "Ito", "Lund", "Oyelaran")), rng.choice(("S0", "S0", "S0", "S1", "S2"))
    days, stake = rng.randrange(2, 420), rng.randrange(200, 60000)
    number = f"TW-{101 + at * 3}"
    state = v.MARK_WORDS[mark]
    stakes = f"{stake:,}"
    supplier = rng.choice(("north-die", "Osier Castings", "Pell Plating", "Fenwick Press"))
    facets = ((vehicle,), (body,), tuple(str(y) for y in range(1951, 1956)), ("left", "right"), (family,), (_GATES[stage],), (state,), (_READINESS[(at + stage) % 4],), (who,), (rng.choice(("arm", "printer", "saloon-3", "plater")),), (safety,), (supplier,))
    return v.PartRow(number, name, "parts/TW-101.html", fits, family, _GATES[stage], stage, state, mark, rail, f"{stage} gates proven, {_GATES[stage]} {state}", who, safety, f"{days} d", days, stakes, float(stake), rng.choice(("Print revision D and refit", "Wait for the second quote", "Measure a third original", "Decide: everything is in hand", "Ask the plater for a sample")), facets, (number, name, fits, family, who, supplier, "outside diameter, screw boss distance" if at % 4 == 0 else "wall thickness"))


def build_parts(count: int = 200) -> v.PartsPage:
    """The list with as many parts as wanted, the same for each count."""
    rng = random.Random(7)
    keys = "vehicle:vehicles,body:bodies,year:years,hand:hands,family:families,stage:stages,state:states,readiness:readiness,engineer:engineers,resource:resources,safety:safety classes,supplier:suppliers"
    facets = tuple(v.Facet(key, "safety class" if key == "safety" else key, f"all {plural}") for key, plural in (one.split(":") for one in keys.split(",")))
    fields = ("number", "name", "fits", "family", "engineer", "supplier", "features")
    rows = tuple(_build_row(at, rng) for at in range(count))
    return v.PartsPage(PageHead("Parts", "parts/index.html", f"{count} parts, 12 of them written by hand, the rest synthetic.", "parts"), rows, facets, fields, "USD", "data/parts.js", "data/parts.csv", "No part is recorded. Make one with: pipeline new TW-201.")


def _need(kind: str, number: str, name: str, words: str, due: str, mark: Mark, loud: bool = False) -> v.Need:
    return v.Need(kind, Link(number, "parts/TW-101.html"), name, build_line(words), due, mark, loud)


def build_home() -> v.HomePage:
    hold = v.Need("Hold call", Link("TW-101", "parts/TW-101.html"), "Side-lamp rim", build_line("Evidence went stale after the die was ordered; metal is cut on 14 Dec. A change found today costs ", Run("6,555 USD", B), "."), "14 days left", X, True)
    desks = (
        v.Desk("ito", "Ito", "R&D lead", (_need("decision due", "TW-118", "Hub dust cover", "all that the quote gate wants is in hand; draw ratio 1.72, one bidder offered 5 operations", "4 Dec", R, True), _need("decision due", "TW-147", "Horn trumpet bell", "fit check complete on 1 of 1 bodies", "11 Dec", R), _need("waiver ends", "TW-152", "Quarter-light hinge bracket", "single original; the waiver names the owner as risk owner", "31 Jan 2027", W))),
        v.Desk("lund", "Lund", "buyer", (_need("quote expired", "TW-161", "Courtesy lamp lens", "quote on revision A, expired 31 Oct; revision B moved the hinge pin", "30 days ago", X, True), _need("quote ends", "TW-118", "Hub dust cover", "Fenwick Press, 27,400 USD", "12 Dec", I))),
        v.Desk("mara", "Mara", "engineer", (_need("went stale", "TW-101", "Side-lamp rim", "F1 and F2 cover screw boss distance, which revision D changed", "2 Oct", X), _need("ageing", "TW-183", "Brake pedal pad", "41 weeks at measure, 85 % are through in 18", "23 weeks over", I, True), _need("held", "TW-190", "Belt anchorage plate", "no regulatory review and no load-test plan: the gate cannot open", "since 3 Mar", H))),
    )
    tallies = (v.Tally("1", "hold call", "parts/index.html?state=stale", X), v.Tally("2", "decisions due", "parts/index.html?state=ready", R), v.Tally("7", "gone stale", "parts/index.html?state=stale", X), v.Tally("3", "quotes end within 30 days", "parts/index.html"), v.Tally("200", "parts", "parts/index.html"))
    return v.HomePage(PageHead("What needs you", "index.html", "Decisions, hold calls, expiries and ageing parts, by person; nothing else.", "home"), (hold,), desks, tallies, "Nothing needs anybody today.")


def build_review() -> v.ReviewPage:
    item = lambda on, no, name, words, mark: v.ReviewItem(on, Link(no, "parts/TW-101.html"), name, build_line(words), mark, Commit("77d02ce", on, "Ito"))  # noqa: E731
    groups = (
        v.ReviewGroup("passed", "Gates passed", (item("24 Nov", "TW-171", "Heater control knob", "tooling: first article accepted, 5 pieces", P), item("19 Nov", "TW-147", "Horn trumpet bell", "prototype: go", P)), "No gate was passed."),
        v.ReviewGroup("stale", "Gone stale", (item("2 Oct", "TW-101", "Side-lamp rim", "F1, F2 and P1, because revision D changed screw boss distance", X),), "Nothing went stale."),
        v.ReviewGroup("held", "Held or dropped", (item("3 Nov", "TW-190", "Belt anchorage plate", "held: no regulatory review", H), item("9 Nov", "TW-122", "Ash tray flap", "dropped: no original found in two years", D)), "Nothing was held."),
        v.ReviewGroup("new", "New parts", (), "No part came in since the last review."),
    )
    return v.ReviewPage(PageHead("Review", "review.html", "What moved since the last review.", "review"), "26 Sep 2026", "30 Nov 2026", (v.Tally("2", "gates passed", "review.html#passed", P), v.Tally("1", "gone stale", "review.html#stale", X), v.Tally("2", "held or dropped", "review.html#held", H)), groups)


def build_vehicles() -> v.VehiclesPage:
    cell = v.MatrixCell
    columns = (v.VehicleColumn("saloon", "1951–55"), v.VehicleColumn("saloon", "1956–59"), v.VehicleColumn("estate", "1951–55"), v.VehicleColumn("estate", "1956–59"), v.VehicleColumn("drophead", "1956–59"))
    def row(no: str, name: str, kinds: str, hole: bool = False) -> v.VehicleRow:
        key = {"p": (P, "released"), "c": (C, "forecast Mar–Jun"), "x": (X, "stale"), "m": (M, "hole"), "n": (N, "does not fit"), "i": (I, "in work"), "h": (H, "held"), "w": (W, "waived"), "r": (R, "decide")}
        return v.VehicleRow(Link(no, "parts/TW-101.html"), name, tuple(cell(*key[k], "parts/TW-101.html#coverage" if k != "n" else "") for k in kinds), hole)
    groups = (v.VehicleGroup("Lamps", (row("TW-101", "Side-lamp rim", "xnxnw", True), row("TW-160", "Courtesy lamp", "iiiim", True), row("TW-161", "Courtesy lamp lens", "rrrrm", True))), v.VehicleGroup("Body and trim", (row("TW-118", "Hub dust cover", "ccccc"), row("TW-152", "Quarter-light hinge bracket", "wwnnn"), row("TW-171", "Heater control knob", "ppppp"))), v.VehicleGroup("Safety", (row("TW-190", "Belt anchorage plate", "hhhhh"),)))
    sedge = v.VehicleMatrix("sedge", "Tarnwick Sedge", "1951–59", columns, groups, ("1 of 6 released", "1 of 5", "1 of 6", "1 of 5", "1 of 6; 2 holes"), "7 parts, 1 released, 2 holes", "data/sedge.csv")
    rill = v.VehicleMatrix("rill", "Tarnwick Rill", "1958–64", (v.VehicleColumn("coupé", "1958–64"),), (v.VehicleGroup("Lamps", (row("TW-160", "Courtesy lamp", "i"),)),), ("0 of 1",), "1 part", "")
    return v.VehiclesPage(PageHead("Vehicles", "vehicles.html", "What is released, what is coming, and where the holes are.", "vehicles"), (sedge, rill), "No vehicle is recorded.")


def build_rules() -> v.RulesPage:
    rule = v.RuleLine
    groups = (v.RuleGroup("reading", "Reading a record", (rule("M104", "A reading is a number in the feature's unit", "error", "rules/M104.html", 2), rule("M101", "No key is written twice", "error", "rules/M104.html"), rule("M118", "A day exists in the calendar", "error", "rules/M104.html"))), v.RuleGroup("evidence", "Evidence", (rule("L301", "A decision claims no more than its evidence proves", "error", "rules/M104.html", 1), rule("L340", "A quote ends within 30 days", "note", "rules/M104.html", 3), rule("L322", "Tolerance is at least four times the uncertainty", "warning", "rules/M104.html"))))
    return v.RulesPage(PageHead("Rules", "rules/index.html", "Everything the checker looks for, why, and how to mend it.", "rules"), "Each rule has a bad example that breaks exactly this rule and a good one that breaks none. A rule's id is never used again.", groups)


def build_rule() -> v.RulePage:
    finding = v.FindingLine(Link("M104", "rules/M104.html"), "error", "projects/TW-131/part.yaml:7:33", "features[0].measured.B: \"twelve\" is not a number in mm", "write the reading in millimetres, e.g. 12.48", Link("TW-131", "parts/TW-101.html"))
    return v.RulePage(PageHead("M104 A reading is a number", "rules/M104.html", "", "rules", (Link("Rules", "rules/index.html"),)), "M104", "A reading is a number in the feature's unit", "error", "A reading that is a word is silently left out of every mean, so that two originals pass for three.", "Write the number alone; the unit stands once at the feature.", "measurements:\n  M1: {of: O1, gives: {rim_od: twelve}}", "measurements:\n  M1: {of: O1, gives: {rim_od: 112.36}}", (finding,), "No record breaks this rule today.")


def build_method() -> v.MethodPage:
    symbols = Table("Symbols", (Column("symbol"), Column("meaning"), Column("unit")), (v.Row((_text("C(s)"), _text("cost of one change found at stage s"), _text("workspace currency"))), v.Row((_text("w"), _text("weeks on the longest path of what is redone"), _text("week"))), v.Row((_text("f"), _text("share of the tool's price for the class of change"), _text("1")))), "none")
    example = v.Section("example", "Worked example", "invented inputs", build_line("800 a year at 42 USD, half of a delayed sale lost for good: a week costs 323.08 USD."), (Figure(build_ladder()),), (Table("The ladder in numbers", (Column("found at", sort=True), Column("direct", "USD", True, True), Column("weeks", "", True, True), Column("total", "USD", True, True), Column("range")), tuple(v.Row((_text(a), _text(b), _text(c), _text(d), Cell((), None, v.RangeMark(lo, m, hi, 0, 70000, f"{lo:,} to {hi:,}, likely {m:,}")))) for a, b, c, d, lo, m, hi in (("measure", "450.00", "0.5", "611.54", 612, 612, 612), ("tool cut", "6,540.00", "5.0", "8,155.38", 8155, 12725, 46955), ("released", "28,200.00", "6.0", "34,450.00", 29942, 34450, 68742))), "none", "data/ladder.csv"),), (), None, False)
    return v.MethodPage(PageHead("Cost of change", "methods/ladder.html", "What one change costs by the stage at which it is found.", "method", (Link("Method", "sections.html"),)), "What would a change cost if it were found now, and what does it cost one stage later?", ("C(s) = sum over what descends from F and exists at s of redo(x) + w(s) * D", "D = weekly contribution * share of delayed sales lost", "redo(tool) = price * f(kind, class)"), symbols, build_line("Common practice, no source."), ("Changes that need more than one class of rework at once.", "Parts whose delay stops another part: that part's loss is not added."), (Caution("An estimate is not a quote.", "Ask the toolmaker before you rely on a factor.", "Your own recorded changes correct it."),), example, (Link("TW-101", "parts/TW-101.html"), Link("Tooling spend", "sections.html")))


def build_sections() -> v.SectionsPage:
    quarters = ("Q1 27", "Q2 27", "Q3 27", "Q4 27")
    cash = v.ColumnChart("Cash out by quarter", "Deposits and balances by quarter against the budget of 60,000.", "USD thousand", (("balance", P), ("deposit", I), ("forecast", C)), tuple(v.ColumnStack(q, a) for q, a in zip(quarters, ((12.0, 30.0, 0.0), (24.0, 18.0, 6.0), (20.0, 0.0, 26.0), (0.0, 4.0, 44.0)), strict=True)), (60.0, 60.0, 60.0, 40.0))
    frontier = v.CurveChart("Spend against worth", "Worth rises with spend and flattens above 180,000 USD.", "spend, USD thousand", "worth, USD thousand", (v.Curve("with the must-dos", tuple(v.CurvePoint(x, y, y * 0.8, y * 1.2) for x, y in ((0, 0), (40, 60), (80, 105), (120, 138), (180, 160), (240, 168))), P), v.Curve("free choice", tuple(v.CurvePoint(x, y) for x, y in ((0, 0), (40, 80), (80, 124), (120, 150), (180, 171), (240, 176))), C, True)), 120.0, "budget")
    rng = random.Random(3)
    old = (v.AgeItem("TW-183", 0, 41, True), v.AgeItem("TW-131", 2, 22.0, True))
    ages = v.AgeChart("Age of what is in work", "Two parts are older than 85 % ever were.", _GATES, (6, 4, 3, 5, 7, 14), (18, 9, 8, 12, 15, 26), (*old, *tuple(v.AgeItem(f"TW-{101 + i}", i % 6, round(rng.uniform(1, 14), 1)) for i in range(40))))
    table = Table("Tools by rank", (Column("tool", sort=True), Column("part"), Column("price", "USD", True, True), Column("worth", "USD, low to high"), Column("sure", "%", True, True), Column("worth over time"), Column("why")), (
        v.Row((_text("die and trim"), _text("TW-101 Side-lamp rim", X), _text("49,400"), Cell((), None, v.RangeMark(10, 46, 90, 0, 100, "10,000 to 90,000, likely 46,000")), _text("64"), Cell((), None, v.TrendMark((30, 42, 40, 46), "30 rising to 46 thousand")), _text("cannot be released: fit check stale"))),
        v.Row((_text("draw dies"), _text("TW-118 Hub dust cover", R), _text("27,400"), Cell((), None, v.RangeMark(30, 58, 75, 0, 100, "30,000 to 75,000, likely 58,000")), _text("91"), Cell((), None, v.TrendMark((50, 52, 57, 58), "50 rising to 58 thousand")), _text("in: earns soonest")))), "No tool waits for money.", "data/plan.csv")
    return v.SectionsPage(PageHead("Tooling spend", "sections.html", "Which tools to release in which quarter, and why.", "spend"), build_line("With 220,000 USD over four quarters the plan releases ", Run("9 of 14 tools", B), "."), (v.Section("plan", "The plan", "proven optimal", (), (Figure(cash), Figure(frontier, build_line("Each thin bar is the 80 % range."))), (table,)), v.Section("flow", "Age of what is in work", "", (), (Figure(ages),), (), (), None, True), v.Section("waste", "Spent and earning nothing", "", (), (), (Table("Idle", (Column("tool"),), (), "Every tool that was paid for is at work."),))), (v.Tally("9", "tools in", "sections.html#plan", P), v.Tally("5", "tools wait", "sections.html#plan", C)))


def build_marks() -> v.MarksPage:
    figures = tuple(Figure(one) for one in (build_ladder(), build_stack(), build_roundness(), build_part().further[0].figures[0].chart, build_part().further[0].figures[1].chart))
    return v.build_marks_page(PageHead("What the marks mean", "marks.html", "The language of the workshop drawing, as this site speaks it."), figures)


PROSE = "<h1 id=\"start\">How a record is kept</h1><p>One folder a part, plain text and plain files. The record <strong>states facts</strong>; what follows from them is derived.</p><h2 id=\"a\">A first part</h2><p>Run <code>pipeline new TW-201</code> and open the file.</p><pre><code>part: TW-201\nname: Door pull\n</code></pre><ul><li>Measure three originals.</li><li>Write down what you saw.</li></ul><table><thead><tr><th>key</th><th>means</th></tr></thead><tbody><tr><td>part</td><td>its number</td></tr></tbody></table><blockquote><p>Fits is never safe.</p></blockquote>"


class _ProsePage:
    title, content = "How a record is kept", PROSE


def build_environment() -> jinja2.Environment:
    """Jinja as the plugin sets it up: autoescape on, the filter that draws, the facts of the site."""
    environment = jinja2.Environment(loader=jinja2.FileSystemLoader(THEME), autoescape=True)
    return dress_environment(environment, build_site(), render_chart)


def build_pages(parts: int = 200) -> dict[str, tuple[str, object]]:
    """Every page type: address -> (template, view)."""
    return {
        "index.html": ("home.html", build_home()), "review.html": ("review.html", build_review()), "parts/index.html": ("parts.html", build_parts(parts)), "parts/TW-101.html": ("part.html", build_part()),
        "parts/TW-000.html": ("part.html", build_bare_part()), "vehicles.html": ("vehicles.html", build_vehicles()), "rules/index.html": ("rules.html", build_rules()), "rules/M104.html": ("rule.html", build_rule()),
        "methods/ladder.html": ("method.html", build_method()), "sections.html": ("sections.html", build_sections()), "marks.html": ("marks.html", build_marks()),
    }


RIM = "<svg xmlns='http://www.w3.org/2000/svg' viewBox='0 0 560 400'><rect width='560' height='400' fill='#e9e7df'/><g fill='none' stroke='#3b4652'><circle cx='280' cy='200' r='150' stroke-width='4'/><circle cx='280' cy='200' r='118' stroke-width='2'/><circle cx='280' cy='200' r='134' stroke-width='14' stroke='#c3ccd3'/><circle cx='208' cy='200' r='11' stroke-width='3'/><circle cx='352' cy='200' r='11' stroke-width='3'/><path d='M264 330h32' stroke-width='7'/><path d='M90 200H470M280 30V370' stroke-dasharray='22 5 3 5'/></g></svg>"


def write_sample_site(folder: Path, parts: int = 200) -> Path:
    """Write every page type, the theme's own files and the data of the list of parts."""
    environment = build_environment()
    for piece in ("css", "js", "img"):
        shutil.copytree(THEME / piece, folder / piece, dirs_exist_ok=True)
    pages = build_pages(parts)
    for address, (template, view) in pages.items():
        target = folder / address
        target.parent.mkdir(parents=True, exist_ok=True)
        base = ".." if "/" in address else "."
        target.write_text(environment.get_template(template).render(view=view, base_url=base, page=None), encoding="utf-8")
    for address, template, page in (("prose.html", "main.html", _ProsePage()), ("404.html", "404.html", None)):
        (folder / address).write_text(environment.get_template(template).render(page=page, base_url=".", view=None), encoding="utf-8")
    (folder / "data").mkdir(exist_ok=True)
    (folder / "data" / "parts.js").write_text(v.render_parts_index(build_parts(parts)), encoding="utf-8")
    (folder / "img" / "rim.svg").write_text(RIM, encoding="utf-8")
    return folder


if __name__ == "__main__":
    print(write_sample_site(Path(sys.argv[1]), int(sys.argv[2]) if len(sys.argv) > 2 else 200))
