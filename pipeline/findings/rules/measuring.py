"""Rules about measuring: files of points and readings, meshes, and whether the numbers can carry what is said."""

from __future__ import annotations

from pipeline.findings.finding import Severity
from pipeline.findings.rule import Example, Rule

ERROR, WARNING, NOTE = Severity.ERROR, Severity.WARNING, Severity.NOTE
_P = "projects/SD-100/"
_CIRCLE = (
    (20.01, 0),
    (14.142, 14.142),
    (0, 20.01),
    (-14.142, 14.142),
    (-20.01, 0),
    (-14.142, -14.142),
    (0, -20.01),
    (14.142, -14.142),
)


def _write_points(
    unit: str = "# unit: mm\n", rows: tuple[tuple[float, float], ...] = _CIRCLE, scale: float = 1.0
) -> str:
    lines = "".join(f"length,{x * scale:.6g},{y * scale:.6g},0\n" for x, y in rows)
    return f"{unit}# length: diameter of the least-squares circle\ngroup,x,y,z\n{lines}"


def _with_points(text: str, value: str = "40.01") -> Example:
    """The sample with one measurement whose file is this text, and no decision that rests on it."""
    part = (
        "measurements:\n"
        "  M1: {of: O1, on: 2026-01-10, by: ann, with: arm, at: 20 C, file: evidence/o1.csv, gives: {length: 40.02}}\n"
        f"  M2: {{of: O2, on: 2026-01-10, by: ann, with: arm, at: 20 C, file: evidence/o2-scan.csv, gives: {{length: {value}}}}}\n"
    )
    return Example(part, {_P + "evidence/o2-scan.csv": text})


_REVISION = "revisions:\n  A: {on: 2026-01-20, by: ann, file: evidence/hook-c.stl, from: [M1, M2]}\n"
_CORNERS = ((0, 0, 0), (40, 0, 0), (0, 10, 0), (0, 0, 5))
_FACES = ((0, 2, 1), (0, 1, 3), (0, 3, 2), (1, 2, 3))


def _write_mesh(faces: tuple[tuple[int, int, int], ...] = _FACES) -> str:
    lines = ["solid hook"]
    for face in faces:
        corners = [f"vertex {x} {y} {z}" for x, y, z in (_CORNERS[i] for i in face)]
        lines += ["facet normal 0 0 0", "outer loop", *corners, "endloop", "endfacet"]
    return "\n".join([*lines, "endsolid hook", ""])


def _with_mesh(text: str) -> Example:
    return Example(_REVISION, {_P + "evidence/hook-c.stl": text})


_GOOD_POINTS = _with_points(_write_points())

UNIT_MISSING = Rule(
    "Q801", "A file of points states its unit", ERROR,
    "A coordinate without a unit may be millimetres or inches; a guess would be wrong by 25.4 times once.",
    "write `# unit: mm` or `# unit: in` as the first line of the file",
    _with_points(_write_points("")), _GOOD_POINTS, deep=True,
)  # fmt: skip
UNITS_MIXED = Rule(
    "Q802", "A file of points has one unit", ERROR,
    "Where two units stand in one file nobody can say which points are in which.",
    "write each unit into a file of its own",
    _with_points(_write_points("# unit: mm\n# unit: in\n")), _GOOD_POINTS, deep=True,
)  # fmt: skip
NOT_A_COORDINATE = Rule(
    "Q803", "Every coordinate and reading is a finite number", ERROR,
    "One NaN or a lost decimal point makes every figure of the fit worthless, and silently so.",
    "correct the value from the instrument's own file, or leave the line out and say why in a comment",
    _with_points(_write_points().replace("20.01,0", "nan,0", 1)), _GOOD_POINTS, deep=True,
)  # fmt: skip
UNREADABLE_READINGS = Rule(
    "Q804", "A file of points or readings can be read", ERROR,
    "A measurement whose file says nothing proves nothing.",
    "write `group,x,y,z` on each line (or `x y z`), or `feature,n,reading,unit` for single readings",
    _with_points("# unit: mm\ngroup,x,y,z\nlength,20.01,0\n"), _GOOD_POINTS, deep=True,
)  # fmt: skip
NOT_FIXED = Rule(
    "Q805", "The points fix the feature", WARNING,
    "Two points fit any circle and points on a line fit none; what comes out is no measurement.",
    "measure more points, spread over the whole feature, and name their group after the feature",
    _with_points(_write_points(rows=_CIRCLE[:2])), _GOOD_POINTS, deep=True,
)  # fmt: skip
FIT_DIFFERS = Rule(
    "Q806", "A recorded value agrees with its points", WARNING,
    "The value in the record is what the model is drawn from; the points are the evidence for it.",
    "fit the points again with `pipeline measure`, and record the value that they give as a new measurement",
    _with_points(_write_points(), "40.19"), _GOOD_POINTS, deep=True,
)  # fmt: skip
OTHER_SYSTEM = Rule(
    "Q807", "File and record use one system of units", WARNING,
    "A file in inches behind a value in millimetres is where a slip by 25.4 begins.",
    "write the reading with the unit of its file, e.g. {value: 1.5752, unit: in}",
    _with_points(_write_points("# unit: in\n", scale=1 / 25.4)), _GOOD_POINTS, deep=True,
)  # fmt: skip
OPEN_MESH = Rule(
    "Q808", "The mesh of a revision is closed", WARNING,
    "An open mesh has no inside: its volume, its mass and a print of it are guesses.",
    "close the edges that have one face only, and export the mesh again",
    _with_mesh(_write_mesh(_FACES[:3])), _with_mesh(_write_mesh()), deep=True,
)  # fmt: skip
UNREADABLE_MESH = Rule(
    "Q809", "The mesh of a revision can be read", ERROR,
    "A model that no one can open is no model.",
    "export the model again as STL or PLY",
    _with_mesh("solid hook\nendsolid hook\n"), _with_mesh(_write_mesh()), deep=True,
)  # fmt: skip
RATIO_SMALL = Rule(
    "Q810", "The limits leave room for the measuring uncertainty", WARNING,
    "Where the uncertainty fills the limits, good and bad parts read alike (common practice: 4 to 1 at least).",
    "measure the feature with something finer: a pin, a micrometer or a functional gauge",
    Example("features:\n  length: {what: overall length, kind: size, nominal: 40, limits: [-0.05, 0.05], unit: mm, critical: true}\n"),
    Example(), deep=True,
)  # fmt: skip
ZERO_TOLERANCE = Rule(
    "Q811", "Limits are wider than zero", WARNING,
    "No measurement can prove a tolerance of zero, and no process can hold it.",
    "write the limits that the part needs; for a one-sided one put null on the other side",
    Example("features:\n  length: {what: overall length, kind: size, nominal: 40, limits: [0, 0], unit: mm, critical: true}\n"),
    Example(),
)  # fmt: skip
ONLY_REPRODUCTIONS = Rule(
    "Q812", "Not every measured part is a reproduction", WARNING,
    "A reproduction repeats somebody's guess; measured again it looks like evidence.",
    "find and measure at least one original",
    Example("features:\n  length: {what: overall length, kind: size, nominal: 40, limits: [-0.2, 0.2], unit: mm, critical: true}\n"
            "  lip: {what: lip, kind: size, nominal: 8, limits: [-0.2, 0.2], unit: mm}\n"
            "originals:\n  O1: {condition: used, from: lent}\n  O2: {condition: nos, from: boxed}\n"
            "  O3: {condition: reproduction, from: fair}\nmeasurements:\n"
            "  M1: {of: O1, on: 2026-01-10, by: ann, with: arm, at: 20 C, file: evidence/o1.csv, gives: {length: 40.02}}\n"
            "  M2: {of: O2, on: 2026-01-10, by: ann, with: arm, at: 20 C, file: evidence/o2.csv, gives: {length: 39.99}}\n"
            "  M3: {of: O3, on: 2026-01-10, by: ann, with: arm, at: 20 C, gives: {lip: 8.01}}\n"),
    Example(),
)  # fmt: skip
ONE_ORIGINAL = Rule(
    "Q813", "The nominal of a critical feature rests on more than one original", NOTE,
    "One part shows its own size; how pieces differed, and what was meant, it cannot show.",
    "measure another original; until then treat the nominal as a guess",
    Example("measurements:\n"
            "  M1: {of: O1, on: 2026-01-10, by: ann, with: arm, at: 20 C, file: evidence/o1.csv, gives: {length: 40.02}}\n"
            "revisions:\n  A: {on: 2026-01-20, by: ann, file: evidence/hook-a.stl, from: [M1]}\ndecisions: []\n"),
    Example(), deep=True,
)  # fmt: skip
NO_LIMITS_MEASURED = Rule(
    "Q814", "A measured dimension has limits", NOTE,
    "A nominal without limits can be neither met nor missed, so no verdict is given.",
    "add `limits: [lower, upper]`, or a general tolerance as deviations from the nominal",
    Example("features:\n  length: {what: overall length, kind: size, nominal: 40, limits: [-0.2, 0.2], unit: mm, critical: true}\n"
            "  lip: {what: lip, kind: size, nominal: 8, unit: mm}\nmeasurements:\n"
            "  M1: {of: O1, on: 2026-01-10, by: ann, with: arm, at: 20 C, file: evidence/o1.csv, gives: {length: 40.02}}\n"
            "  M2: {of: O2, on: 2026-01-10, by: ann, with: arm, at: 20 C, file: evidence/o2.csv, gives: {length: 39.99}}\n"
            "  M3: {of: O2, on: 2026-01-11, by: ann, with: arm, at: 20 C, file: evidence/lip.csv, gives: {lip: 8.01}}\n",
            {_P + "evidence/lip.csv": "feature,n,reading,unit\nlip,1,8.01,mm\n"}),
    Example(), deep=True,
)  # fmt: skip
SHRINKAGE_DIFFERS = Rule(
    "Q815", "Measured shrinkage is the one that the tool was cut for", WARNING,
    "Every dimension of the part is off in proportion, and everything cut to fit the moulding with it.",
    "correct the cavity where it matters, and cut masks, nests and gauges to the moulding, not to the drawing",
    Example("tools:\n  die: {kind: die, forms: [length], price: 9000 USD, steps: {quoted: 2026-05-01}, "
            "shrinkage: {assumed: [0.004, 0.005, 0.006], measured: 0.0062, U: 0.0002}}\n"),
    Example("tools:\n  die: {kind: die, forms: [length], price: 9000 USD, steps: {quoted: 2026-05-01}, "
            "shrinkage: {assumed: [0.004, 0.005, 0.006], measured: 0.0051, U: 0.0002}}\n"),
    deep=True,
)  # fmt: skip

_FA = "first_articles:\n  FA1: {tools: [die], of: A, on: 2026-05-10, by: ann, seen_by: bob, pieces: 3, finished: true, "
GOOD_OUTSIDE = Rule(
    "Q816", "What came out good lies inside its limits", ERROR,
    "A sample outside the limits that is called good makes the tool look proven; the next thousand pieces are like it.",
    "write `result: bad`, or change the limits with a revision that says why",
    Example(_FA + "gives: {length: [40.0, 40.1, 40.3]}, result: good}\n"),
    Example(_FA + "gives: {length: [40.0, 40.1, 40.2]}, result: good}\n"),
)  # fmt: skip

_EYE = (
    "features:\n  length: {what: overall length, kind: size, nominal: 40, limits: [-0.2, 0.2], unit: mm, critical: true}\n"
    "  eye: {what: eye, kind: size, nominal: 8, tolerance: %s, unit: mm}\n"
)
CLASS_UNKNOWN = Rule(
    "Q817", "A class of limits gives limits", ERROR,
    "A feature whose limits stand in a table that has no value there has no limits: nothing can be outside of them.",
    "write a class that the table has at that size (H7, ISO 2768-m, DCTG 6), or `limits: [lower, upper]`",
    Example(_EYE % "H19"),
    Example(_EYE % "H7"),
)  # fmt: skip
CLASS_DIFFERS = Rule(
    "Q818", "Limits are those of the class beside them", WARNING,
    "A toolmaker reads the class, an inspector the limits; where they differ, one of them makes scrap.",
    "take one of the two out, or correct it",
    Example("features:\n  length: {what: overall length, kind: size, nominal: 40, limits: [-0.2, 0.2], "
            "tolerance: ISO 2768-m, unit: mm, critical: true}\n"),
    Example("features:\n  length: {what: overall length, kind: size, nominal: 40, limits: [-0.3, 0.3], "
            "tolerance: ISO 2768-m, unit: mm, critical: true}\n"),
)  # fmt: skip
_STUDY = "gauge_studies:\n  G1: {feature: length, on: 2026-01-09, by: ann, with: arm, file: evidence/g1.csv}\n"
_RUN = (
    "sample_runs:\n  S1: {feature: length, tools: [die], of: A, on: 2026-05-20, by: ann, with: arm, "
    "file: evidence/s1.csv}\n"
)


def _show_study(trial: float, uneven: bool = False) -> dict[str, str]:
    """A study of three pieces by two people: trials differ by `trial`; uneven: one reading is missing."""
    rows = [
        f"{piece},{who},{n},{40 + 0.05 * piece + trial * n * (1 if who == 'ann' else -1):.4f}\n"
        for piece in (1, 2, 3) for who in ("ann", "bob") for n in (1, 2)
    ]  # fmt: skip
    shown = rows[:-1] if uneven else rows
    return {_P + "evidence/g1.csv": "# unit: mm\npart,appraiser,trial,value\n" + "".join(shown)}


def _show_run(spread: float) -> dict[str, str]:
    values = [40 + spread * step for step in (-1, 0.5, 1, -0.5, 0, 0.5, -1, 1)]
    rows = "".join(f"{n},{value:.4f}\n" for n, value in enumerate(values, 1))
    return {_P + "evidence/s1.csv": "# unit: mm\npiece,value\n" + rows}


def _state(study: str = "G1") -> dict[str, str]:
    """The instrument with what the study found, to be counted with single readings."""
    found = f"{{of: SD-100/{study}, repeatability: 0.001225, dof: 8, reproducibility: 0.004213, people: 2}}"
    return {"shared/resources.yaml": (
        "resources: {arm-1: {name: measuring arm, hours_per_week: 20}}\ninstruments:\n  arm: {name: measuring arm, "
        f"mpe_mm: 0.02, calibrated: 2025-06-01, due: 2026-12-01, studies: {{size: {found}}}}}\n"
    )}  # fmt: skip


NOT_RECKONED = Rule(
    "Q819", "A gauge study and a sample run can be reckoned", WARNING,
    "A table with gaps, or in a unit that is not the feature's, gives no figure that could be trusted.",
    "read what is missing, or correct the unit; every piece is read equally often by everybody",
    Example(_STUDY, _show_study(0.002, uneven=True)), Example(_STUDY, _show_study(0.002) | _state()), deep=True,
)  # fmt: skip
GAUGE_TOO_COARSE = Rule(
    "Q820", "A gauge takes little of the tolerance", WARNING,
    "What the gauge itself spreads is lost to the pieces: good ones are thrown away and bad ones are sent.",
    "use a finer instrument or a fixture, or train those who read; then study it again",
    Example(_STUDY, _show_study(0.03) | _state("G0")), Example(_STUDY, _show_study(0.002) | _state()), deep=True,
)  # fmt: skip
RUN_NOT_CAPABLE = Rule(
    "Q821", "A run of pieces keeps its limits with room to spare", WARNING,
    "A tool whose pieces fill the tolerance makes scrap as soon as anything moves.",
    "set the tool or the process nearer to the middle, narrow its spread, or sort every piece until it is",
    Example(_RUN, _show_run(0.15)), Example(_RUN, _show_run(0.03)), deep=True,
)  # fmt: skip
_VICKERS = (
    "tests:\n  T1: {kind: hardness-test, of: P1, on: 2026-03-01, by: ann, at: lab, covers: [hard], file: evidence/t1.txt, "
    "gives: {hard: {value: %s}}, result: good}\n"
)
_REPORT = {_P + "evidence/t1.txt": "hardness\n"}
OTHER_SCALE = Rule(
    "Q822", "A hardness is tested in the scale that the drawing states", WARNING,
    "Conversions between scales hold for one kind of steel and spread by some units: such a test proves nothing here.",
    "test it in the scale of the feature, or state the feature in the scale that can be tested",
    Example(_VICKERS % "513, unit: HV", _REPORT), Example(_VICKERS % "50, unit: HRC", _REPORT),
)  # fmt: skip
_CUP = (
    "features:\n  length: {what: overall length, kind: size, nominal: 40, limits: [-0.2, 0.2], unit: mm, critical: true}\n"
    "  tall: {what: height, kind: distance, nominal: %s, unit: mm}\n"
    "route:\n  - {op: draw, what: draw, draws: {diameter: length, height: tall}}\n"
    "tools:\n  die: {kind: draw-die, forms: [length], price: 9000 USD, steps: {quoted: 2026-05-01}}\n"
)
_DRAW_DIES = {
    "shared/tool_kinds.yaml": "kinds:\n  die: {name: die, changes: {new-tool: {share: 1, weeks: [10, 14, 20]}}}\n"
    "  draw-die: {name: draw die, changes: {new-tool: {share: 1, weeks: [10, 14, 20]}}}\n"
}
DRAWS_TOO_FEW = Rule(
    "Q823", "There are as many draws as the ratios want", WARNING,
    "A cup that is drawn in fewer draws than its sheet bears tears, or comes out thin where it must not.",
    "add the draws that are missing, anneal between them, or say which ratios the sheet bears (`draw_ratios`)",
    Example(_CUP % "80", _DRAW_DIES), Example(_CUP % "20", _DRAW_DIES),
)  # fmt: skip
_SIGHT = (
    "sight_lines:\n  V1: {glass: [-550, 850, 1000], aim_at: [14000, 2400, 400], width: %s, height: %s, "
    "eyes: [[0, 350, 1150]], side: 800, asks: %s}\n"
)
NOT_BY_GEOMETRY = Rule(
    "Q824", "A drawn cup and a sight line can be reckoned", WARNING,
    "A size that is impossible, or a place that is missing, gives no figure that could be trusted.",
    "correct what is named; the rules that are known are listed in the message",
    Example(_SIGHT % (190, 120, "us-999")), Example(_SIGHT % (190, 120, "us-111-driver")), deep=True,
)  # fmt: skip
VIEW_SHORT = Rule(
    "Q825", "A mirror shows what the published figure for its side asks", WARNING,
    "What the driver cannot see is run into; the glass is too small or looks the wrong way.",
    "change the glass, its place or its aim; then have the view measured on the vehicle by a competent laboratory",
    Example(_SIGHT % (60, 40, "us-111-driver")), Example(_SIGHT % (190, 120, "us-111-driver")), deep=True,
)  # fmt: skip
SPREAD_NOT_STATED = Rule(
    "Q826", "What a gauge study found counts with every single reading of its instrument", NOTE,
    "One reading shows no scatter of its own: without what a study found, its uncertainty says less than is known.",
    "state the figures with the instrument in shared/resources.yaml, as the message writes them",
    Example(_STUDY, _show_study(0.002)), Example(_STUDY, _show_study(0.002) | _state()), deep=True,
)  # fmt: skip

RULES = (
    UNIT_MISSING, UNITS_MIXED, NOT_A_COORDINATE, UNREADABLE_READINGS, NOT_FIXED, FIT_DIFFERS, OTHER_SYSTEM, OPEN_MESH,
    UNREADABLE_MESH, RATIO_SMALL, ZERO_TOLERANCE, ONLY_REPRODUCTIONS, ONE_ORIGINAL, NO_LIMITS_MEASURED,
    SHRINKAGE_DIFFERS, GOOD_OUTSIDE, CLASS_UNKNOWN, CLASS_DIFFERS, NOT_RECKONED,
    GAUGE_TOO_COARSE, RUN_NOT_CAPABLE, OTHER_SCALE, DRAWS_TOO_FEW,
    NOT_BY_GEOMETRY, VIEW_SHORT, SPREAD_NOT_STATED,
)  # fmt: skip
