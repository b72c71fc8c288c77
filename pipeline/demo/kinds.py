"""What synthetic parts there are: names by family, how they look, how they are made, how they are tooled. All invented."""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True, slots=True)
class Kind:
    """One kind of synthetic part.

    size : usual length in mm, low and high. tools : (name, tool kind, price low, price high). sample : process of the
    prototype that decides the fit. suppliers : who quotes.
    """

    family: str
    archetype: str
    things: tuple[str, ...]
    size: tuple[float, float]
    tools: tuple[tuple[str, str, float, float], ...]
    sample: str
    suppliers: tuple[str, ...]
    piece: tuple[float, float]
    price: tuple[float, float]


PLACES = (
    "Front door", "Rear door", "Bonnet", "Boot", "Dashboard", "Rear seat", "Front seat", "Windscreen", "Quarter-light",
    "Sun-roof", "Wing", "Sill", "Fuel filler", "Heater", "Tail lamp", "Number-plate", "Ashtray", "Glove box", "Gear lever",
    "Spare wheel", "Parcel shelf", "Radiator", "Wiper", "Horn ring",
)  # fmt: skip

KINDS: tuple[Kind, ...] = (
    Kind("die-cast-plated", "ring", ("bezel", "escutcheon", "lamp rim", "surround", "trim ring"), (60, 160),
         (("die", "die-cast-die", 14_000, 42_000), ("trim", "trim-die", 2_500, 7_000)), "plated-sample",
         ("north-die", "harbour-die", "small-run-die"), (4, 11), (38, 110)),
    Kind("die-cast-plated", "lever", ("handle", "catch lever", "lock lever"), (80, 170),
         (("die", "die-cast-die", 16_000, 38_000),), "plated-sample", ("north-die", "harbour-die"), (5, 12), (45, 120)),
    Kind("moulded-opaque", "plate", ("switch panel", "knob base", "grommet plate", "clip", "duct flange"), (30, 180),
         (("mould", "injection-mould", 6_000, 26_000),), "resin-print", ("quay-mould", "clear-moulders", "third-mould"),
         (0.8, 3.5), (9, 34)),
    Kind("turned-plated", "ring", ("knob", "ferrule", "bush", "collar"), (12, 50),
         (("form", "form-tool", 300, 1_100),), "plated-sample", ("turn-well", "bell-spinners"), (2, 7), (14, 42)),
    Kind("spun-aluminium", "ring", ("trim disc", "reflector cup", "dust cap"), (90, 260),
         (("chuck", "spinning-chuck", 700, 2_600),), "soft-tool-sample", ("bell-spinners", "turn-well"), (6, 16), (36, 90)),
    Kind("bent-wire-tube", "wire", ("check rod", "stay", "retaining wire", "prop"), (120, 480),
         (("form", "bending-form", 250, 900),), "hand-made-sample", ("wire-row",), (1.5, 6), (12, 38)),
    Kind("sand-cast", "plate", ("mounting foot", "cover", "bracket"), (90, 240),
         (("pattern", "casting-pattern", 900, 3_600),), "resin-print", ("sand-gate", "lark-castings"), (14, 40), (60, 170)),
    Kind("investment-cast", "lever", ("hinge leaf", "bell crank", "pawl", "link"), (40, 130),
         (("wax", "wax-die", 3_000, 9_000),), "machined-sample", ("grey-wax", "lark-castings"), (9, 26), (48, 140)),
    Kind("compression-rubber", "panel", ("buffer", "seal corner", "pedal cover", "draught pad"), (50, 220),
         (("mould", "compression-mould", 2_800, 9_500),), "soft-tool-sample", ("cure-works", "soft-seal"), (1.6, 6), (12, 44)),
    Kind("cut-and-sew", "panel", ("cover", "pocket", "hood strap", "gaiter", "armrest cover"), (240, 700),
         (("dies", "cutting-die", 900, 3_800), ("pattern", "sewing-pattern", 300, 900)), "hand-made-sample",
         ("needle-row",), (20, 70), (90, 320)),
)  # fmt: skip
"""Kinds whose gates a generator can prove with dimensions alone; the traps of the trade are in the hand-written records."""
