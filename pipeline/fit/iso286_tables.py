"""ISO 286-1 tables to 500 mm: standard tolerances and fundamental deviations of shafts, in micrometres.

The figures were recalled and then compared with public tables (seen): IT5..IT14 and the letters d to r in full against
two, the rest against at least one. Where the standard's formulas and its table differ, the table governs.
"""

from __future__ import annotations

MAIN_STEPS_MM = (3, 6, 10, 18, 30, 50, 80, 120, 180, 250, 315, 400, 500)
"""Upper ends of the main ranges; a range is over the one before and up to and including its own."""

FINE_STEPS_MM = (
    *(3, 6, 10, 14, 18, 24, 30, 40, 50, 65, 80, 100, 120),
    *(140, 160, 180, 200, 225, 250, 280, 315, 355, 400, 450, 500),
)
"""Upper ends of the intermediate ranges, which the letters c and r to u need."""

STANDARD_TOLERANCES_UM: dict[int, tuple[float, ...]] = {
    3: (2, 2.5, 2.5, 3, 4, 4, 5, 6, 8, 10, 12, 13, 15),
    4: (3, 4, 4, 5, 6, 7, 8, 10, 12, 14, 16, 18, 20),
    5: (4, 5, 6, 8, 9, 11, 13, 15, 18, 20, 23, 25, 27),
    6: (6, 8, 9, 11, 13, 16, 19, 22, 25, 29, 32, 36, 40),
    7: (10, 12, 15, 18, 21, 25, 30, 35, 40, 46, 52, 57, 63),
    8: (14, 18, 22, 27, 33, 39, 46, 54, 63, 72, 81, 89, 97),
    9: (25, 30, 36, 43, 52, 62, 74, 87, 100, 115, 130, 140, 155),
    10: (40, 48, 58, 70, 84, 100, 120, 140, 160, 185, 210, 230, 250),
    11: (60, 75, 90, 110, 130, 160, 190, 220, 250, 290, 320, 360, 400),
    12: (100, 120, 150, 180, 210, 250, 300, 350, 400, 460, 520, 570, 630),
    13: (140, 180, 220, 270, 330, 390, 460, 540, 630, 720, 810, 890, 970),
    14: (250, 300, 360, 430, 520, 620, 740, 870, 1000, 1150, 1300, 1400, 1550),
    15: (400, 480, 580, 700, 840, 1000, 1200, 1400, 1600, 1850, 2100, 2300, 2500),
    16: (600, 750, 900, 1100, 1300, 1600, 1900, 2200, 2500, 2900, 3200, 3600, 4000),
}
"""IT grades by main range. IT3 is here because the special rule for holes needs the grade below IT4."""

SHAFT_UPPER_UM: dict[str, tuple[float, ...]] = {
    "d": (-20, -30, -40, -50, -65, -80, -100, -120, -145, -170, -190, -210, -230),
    "e": (-14, -20, -25, -32, -40, -50, -60, -72, -85, -100, -110, -125, -135),
    "f": (-6, -10, -13, -16, -20, -25, -30, -36, -43, -50, -56, -62, -68),
    "g": (-2, -4, -5, -6, -7, -9, -10, -12, -14, -15, -17, -18, -20),
    "h": (0,) * 13,
}
"""Upper deviation es of shafts by main range."""

SHAFT_UPPER_FINE_UM: dict[str, tuple[float, ...]] = {
    "c": (
        *(-60, -70, -80, -95, -95, -110, -110, -120, -130, -140, -150, -170, -180),
        *(-200, -210, -230, -240, -260, -280, -300, -330, -360, -400, -440, -480),
    ),
}
"""Upper deviation es of shafts by intermediate range."""

SHAFT_LOWER_UM: dict[str, tuple[float, ...]] = {
    "k": (0, 1, 1, 1, 2, 2, 2, 3, 3, 4, 4, 4, 5),
    "m": (2, 4, 6, 7, 8, 9, 11, 13, 15, 17, 20, 21, 23),
    "n": (4, 8, 10, 12, 15, 17, 20, 23, 27, 31, 34, 37, 40),
    "p": (6, 12, 15, 18, 22, 26, 32, 37, 43, 50, 56, 62, 68),
}
"""Lower deviation ei of shafts by main range; k only for IT4 to IT7, 0 for the other grades."""

SHAFT_LOWER_FINE_UM: dict[str, tuple[float | None, ...]] = {
    "r": (
        *(10, 15, 19, 23, 23, 28, 28, 34, 34, 41, 43, 51, 54),
        *(63, 65, 68, 77, 80, 84, 94, 98, 108, 114, 126, 132),
    ),
    "s": (
        *(14, 19, 23, 28, 28, 35, 35, 43, 43, 53, 59, 71, 79),
        *(92, 100, 108, 122, 130, 140, 158, 170, 190, 208, 232, 252),
    ),
    "t": (
        *(None, None, None, None, None, None, 41, 48, 54, 66, 75, 91, 104),
        *(122, 134, 146, 166, 180, 196, 218, 240, 268, 294, 330, 360),
    ),
    "u": (
        *(18, 23, 28, 33, 33, 41, 48, 60, 70, 87, 102, 124, 144),
        *(170, 190, 210, 236, 258, 284, 315, 350, 390, 435, 490, 540),
    ),
}
"""Lower deviation ei of shafts by intermediate range; None where the standard gives no value."""

CLEARANCE_LETTERS = frozenset(SHAFT_UPPER_UM) | frozenset(SHAFT_UPPER_FINE_UM)
SHAFT_LETTERS = (*tuple("cdefgh"), "js", *tuple("kmnprstu"))
GRADES = tuple(range(4, 17))
