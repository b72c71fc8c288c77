"""Synthetic parts: records of invented parts that walk through the gates at a plausible pace, up to a given day.

Every record says `synthetic: true`. The same seed and catalogues give the same bytes. They serve to give lists, filters
and flow their true size, and to make workspaces of any size for measurements of speed.
"""

from __future__ import annotations

import datetime as dt
import hashlib
import random
from collections.abc import Mapping
from dataclasses import dataclass, field

from pipeline.demo.drawings import build_box, draw_part
from pipeline.demo.evidence_makers import build_texts
from pipeline.demo.kinds import KINDS, PLACES, Kind
from pipeline.findings.finding import Finding
from pipeline.model.catalogue import Catalogues, Instrument
from pipeline.model.part import Part
from pipeline.model.words import Gate, Role
from pipeline.reading.shape import parse_shape
from pipeline.reading.tree import parse_tree

FIRST_NUMBER = 301


@dataclass
class _Sheet:
    """The lines of a record, section by section, as they are written."""

    head: list[str] = field(default_factory=list)
    sections: dict[str, list[str]] = field(default_factory=dict)

    def add(self, section: str, line: str) -> None:
        """Add one entry to a section."""
        self.sections.setdefault(section, []).append(f"  {line}")

    def render(self) -> str:
        """Return the record."""
        order = (
            "fits", "originals", "features", "interfaces", "measurements", "revisions", "prototypes", "fit_checks",
            "quotes", "tools", "first_articles", "changes", "decisions",
        )  # fmt: skip
        blocks = ["\n".join(self.head)]
        blocks += [f"{name}:\n" + "\n".join(self.sections[name]) for name in order if self.sections.get(name)]
        tail = [line for name in ("demand", "stock") for line in self.sections.get(name, [])]
        return "\n\n".join(blocks) + "\n" + ("\n" + "\n".join(line.strip() for line in tail) + "\n" if tail else "")


class _Walk:
    """Walks one part from its first day to `today`, writing what was recorded on the way."""

    def __init__(self, number: str, seed: int, catalogues: Catalogues, today: dt.date) -> None:
        self.rng = random.Random(f"{seed}:{number}")
        self.number = number
        self.catalogues = catalogues
        self.today = today
        self.kind: Kind = self.rng.choice(KINDS)
        self.name = f"{self.rng.choice(PLACES)} {self.rng.choice(self.kind.things)}"
        self.sheet = _Sheet()
        self.day = self.choose_first_day()
        self.engineer = self.rng.choice(self.find_people(Role.ENGINEER, self.day))
        self.lead = self.find_people(Role.LEAD, self.day)[0]
        self.fate = self.rng.choices(("on", "drop", "hold", "rework"), (80, 6, 5, 9))[0]
        self.fate_gate = self.rng.choice(list(Gate)[:5])
        self.sizes: dict[str, float] = {}
        self.cars: list[str] = []
        self.revision = "A"
        self.last_quote = ""

    def choose_first_day(self) -> dt.date:
        """Return a first day: more of them lately than long ago, as a growing shop has it."""
        back = int(600 * (1 - self.rng.random() ** 0.8)) + 6
        return self.today - dt.timedelta(days=min(back, 600))

    def find_people(self, role: Role, day: dt.date) -> list[str]:
        """Return who has a role on a day and stays in the shop."""
        people = self.catalogues.people.people
        return [k for k, p in people.items() if role in p.roles and (p.until is None or p.until >= self.today) and day]

    def find_other(self, *taken: str) -> str:
        """Return an engineer or lead who is none of those."""
        names = self.find_people(Role.ENGINEER, self.day) + self.find_people(Role.LEAD, self.day)
        return self.rng.choice([name for name in names if name not in taken])

    def wait(self, gate: Gate, share: float) -> bool:
        """Let part of a stage's usual time go by; False when that leads past today."""
        family = self.catalogues.families.families[self.kind.family]
        usual = family.weeks.get(gate)
        low, likely, high = (usual.low, usual.likely, usual.high) if usual is not None else (1.0, 3.0, 8.0)
        weeks = self.rng.triangular(low, high, likely) * share * self.rng.lognormvariate(0, 0.25)
        self.day += dt.timedelta(days=max(1, round(7 * weeks)))
        while self.day.weekday() > 4:
            self.day += dt.timedelta(days=1)
        return self.day <= self.today

    def write(self) -> str:
        """Return the text of the record."""
        self.write_head()
        for stage in (self.measure, self.model, self.prototype, self.fit, self.quote, self.tool):
            if not stage():
                break
        return self.sheet.render()

    def decide(self, gate: Gate, by: str, extra: str = "") -> bool:
        """Record a decision for a gate; False when the part goes no further."""
        if not self.wait(gate, 0.2):
            return False
        if self.fate in ("drop", "hold") and gate is self.fate_gate:
            why = self.rng.choice(("too few would sell", "the last original went home", "a better source turned up"))
            self.sheet.add("decisions", f"- {{gate: {gate}, on: {self.day}, by: {by}, say: {self.fate}, why: {why}}}")
            return False
        if self.fate == "rework" and gate is self.fate_gate:
            self.fate = "on"
            why = self.rng.choice(("one hole looks out of place", "the edge is too thick", "ask the plater first"))
            self.sheet.add("decisions", f"- {{gate: {gate}, on: {self.day}, by: {by}, say: rework, why: {why}}}")
            return self.redo(gate) and self.decide(gate, by, extra)
        self.sheet.add("decisions", f"- {{gate: {gate}, on: {self.day}, by: {by}, say: go{extra}}}")
        return True

    def redo(self, gate: Gate) -> bool:
        """Bring something new after a gate was sent back."""
        if not self.wait(gate, 0.6):
            return False
        if gate is Gate.MEASURE:
            self.add_measurement("O1")
        elif gate is Gate.MODEL:
            self.add_revision(changed=True)
        elif gate is Gate.PROTOTYPE:
            self.add_prototype()
        elif gate is Gate.FIT_CHECK:
            self.add_fit_checks(self.last_sample)
        else:
            self.add_quote(len(self.sheet.sections.get("quotes", [])))
        return True

    # what is written, stage by stage

    def write_head(self) -> None:
        """Write what is known on the first day: what it fits and which features it has."""
        safety = "S0"
        self.sheet.head += [
            f"part: {self.number}", f"name: {self.name}", f"family: {self.kind.family}", f"safety: {safety}",
            f"engineer: {self.engineer}", "synthetic: true", f"opened: {self.day}", "picture: evidence/drawing.svg",
        ]  # fmt: skip
        cars = self.catalogues.vehicles.cars
        by_body: dict[tuple[str, str], str] = {}
        for key, car in cars.items():
            by_body.setdefault((car.vehicle, car.body), key)
        chosen = self.rng.sample(sorted(by_body), k=self.rng.choice((1, 1, 2, 2, 3)))
        for vehicle, body in chosen:
            self.cars.append(by_body[(vehicle, body)])
            years = self.catalogues.vehicles.vehicles[vehicle].bodies[body].years
            name = f"{vehicle}-{body}"
            self.sheet.add("fits", f"{name}: {{vehicle: {vehicle}, body: {body}, years: {years.first}-{years.last}}}")
        self.write_features()
        self.write_demand()

    def write_features(self) -> None:
        """Write two to four lengths, wide enough for the arm, and the interface that they decide."""
        low, high = self.kind.size
        names = (
            ("length", "overall length"),
            ("width", "overall width"),
            ("pitch", "hole distance"),
            ("depth", "depth"),
        )
        ratio = 8.0 if self.kind.family == "cut-and-sew" else 0.45
        for index, (key, what) in enumerate(names[: self.rng.choice((2, 3, 3, 4))]):
            nominal = round(self.rng.uniform(low, high) * (1, 0.55, 0.7, 0.2)[index], 1)
            self.sizes[key] = nominal
            tolerance = round(ratio * self.rng.uniform(1.0, 1.6), 2)
            critical = ", critical: true" if index < 2 else ""
            kind = "distance" if key == "pitch" else "size"
            self.sheet.add(
                "features",
                f"{key}: {{what: {what}, kind: {kind}, nominal: {nominal}, limits: [-{tolerance}, {tolerance}], unit: mm{critical}}}",
            )
        self.sheet.add(
            "interfaces",
            f"seat: {{what: {self.name.split()[-1]} to body, gap: {{limits: [0.2, 1.8]}}, features: [length, width]}}",
        )

    def write_demand(self) -> None:
        """Write what it might sell."""
        likely = round(self.rng.lognormvariate(6.2, 0.7), -1)
        low, high = round(likely * 0.6, -1), round(likely * 1.5, -1)
        price = round(self.rng.uniform(*self.kind.price), 2)
        self.unit_price = price
        years = self.rng.choice((4, 5, 5, 6))
        self.sheet.add(
            "demand", f"demand: {{per_year: [{low:g}, {likely:g}, {high:g}], price: {price:.2f} USD, years: {years}}}"
        )

    def find_instrument(self) -> str:
        """Return an instrument that was in calibration on the day: the arm, or the tape for soft trim."""
        wanted = "tape" if self.kind.family == "cut-and-sew" else "arm"
        found = [
            k
            for k, i in self.catalogues.resources.instruments.items()
            if k.startswith(wanted) and _is_valid(i, self.day)
        ]
        return found[-1]

    def add_measurement(self, original: str) -> None:
        """Write one measurement of every feature."""
        key = f"M{len(self.sheet.sections.get('measurements', [])) + 1}"
        gives = ", ".join(f"{f}: {n + self.rng.gauss(0, 0.05):.2f}" for f, n in self.sizes.items())
        self.sheet.add(
            "measurements",
            f"{key}: {{of: {original}, on: {self.day}, by: {self.engineer}, with: {self.find_instrument()}, at: "
            f"{self.rng.uniform(19, 22):.1f} C, file: evidence/{key.lower()}-points.csv, gives: {{{gives}}}}}",
        )

    def measure(self) -> bool:
        """Find originals and measure them."""
        if not self.wait(Gate.MEASURE, 0.35):
            return False
        sources = ("lent by a member", "breaker's yard", "boxed dealer stock", "autojumble", "the shop's own car")
        count = self.rng.choice((3, 3, 4))
        for index in range(1, count + 1):
            condition = self.rng.choice(("used", "used", "nos"))
            self.sheet.add("originals", f"O{index}: {{condition: {condition}, from: {self.rng.choice(sources)}}}")
        for index in range(1, count + 1):
            if index > 1 and not self.wait(Gate.MEASURE, 0.15):
                return False
            self.add_measurement(f"O{index}")
        return self.decide(Gate.MEASURE, self.lead)

    def add_revision(self, changed: bool) -> None:
        """Write one revision; a later one says what it changed."""
        revisions = self.sheet.sections.get("revisions", [])
        self.revision = "ABCDEFGH"[len(revisions)]
        count = len(self.sheet.sections["measurements"])
        origin = f"from: [{', '.join(f'M{i}' for i in range(1, count + 1))}]"
        feature = self.rng.choice(list(self.sizes))
        extra = f"changed: [{feature}], why: {self.rng.choice(('fouled the seam', 'worn original', 'easier to cast'))}"
        self.sheet.add(
            "revisions",
            f"{self.revision}: {{on: {self.day}, by: {self.engineer}, file: evidence/model-{self.revision.lower()}.stl, "
            f"{extra if changed else origin}}}",
        )

    def model(self) -> bool:
        """Model the part."""
        if not self.wait(Gate.MODEL, 0.7):
            return False
        self.add_revision(changed=False)
        return self.decide(Gate.MODEL, self.lead)

    def add_prototype(self, process: str = "resin-print") -> str:
        """Write one prototype."""
        key = f"P{len(self.sheet.sections.get('prototypes', [])) + 1}"
        coated = ", coated: true" if process == "plated-sample" else ""
        cost = round(self.rng.uniform(60, 420), 0)
        self.sheet.add(
            "prototypes", f"{key}: {{of: {self.revision}, process: {process}, on: {self.day}, cost: {cost:g}{coated}}}"
        )
        return key

    def prototype(self) -> bool:
        """Build a prototype that shows the critical features."""
        if not self.wait(Gate.PROTOTYPE, 0.7):
            return False
        self.last_sample = self.add_prototype(
            "hand-made-sample" if self.kind.family == "cut-and-sew" else "resin-print"
        )
        return self.decide(Gate.PROTOTYPE, self.lead)

    def add_fit_checks(self, sample: str) -> bool:
        """Write a good fit check on every application; False when today comes first."""
        for car, application in zip(self.cars, self.sheet.sections["fits"], strict=True):
            if not self.wait(Gate.FIT_CHECK, 0.25):
                return False
            key = f"F{len(self.sheet.sections.get('fit_checks', [])) + 1}"
            gaps = ", ".join(f"{self.rng.uniform(0.5, 1.4):.1f}" for _ in range(3))
            self.sheet.add(
                "fit_checks",
                f"{key}: {{with: {sample}, on: {self.day}, by: {self.engineer}, seen_by: {self.find_other(self.engineer)}, "
                f"car: {car}, fits: {application.strip().split(':')[0]}, gaps: {{seat: [{gaps}]}}, result: good}}",
            )
        return True

    def fit(self) -> bool:
        """Try it on every application; some parts change after a first trial."""
        if not self.wait(Gate.FIT_CHECK, 0.2):
            return False
        if self.rng.random() < 0.25:
            self.add_revision(changed=True)
            if not self.wait(Gate.PROTOTYPE, 0.6):
                return False
            self.last_sample = self.add_prototype(
                "hand-made-sample" if self.kind.family == "cut-and-sew" else "resin-print"
            )
        self.last_sample = self.add_prototype(self.kind.sample)
        if not self.add_fit_checks(self.last_sample):
            return False
        second = self.find_other(self.lead)
        return self.decide(Gate.FIT_CHECK, self.lead, f", second: {second}")

    def add_quote(self, index: int) -> None:
        """Write one offer that states all that is wanted."""
        key = f"Q{index + 1}"
        supplier = self.kind.suppliers[index % len(self.kind.suppliers)]
        scale = self.rng.uniform(0.85, 1.2)
        tools = ", ".join(f"{name}: {round(self.prices[name] * scale, -1):g}" for name, *_ in self.kind.tools)
        low, high = self.kind.piece
        piece = self.rng.uniform(low, high)
        valid = self.day + dt.timedelta(days=self.rng.choice((60, 90, 90, 120)))
        self.sheet.add(
            "quotes",
            f"{key}: {{from: {supplier}, of: {self.revision}, on: {self.day}, valid_to: {valid}, money: USD, tools: {{{tools}}}, "
            "pay: [{at: order, share: 0.5}, {at: approved finished samples, share: 0.5}], "
            f"piece: {{300: {piece * 1.15:.2f}, 1000: {piece:.2f}}}, weeks: {self.rng.choice((8, 10, 12, 14, 16))}, "
            f"yield: {self.rng.uniform(0.88, 0.98):.2f}, freight: 0.2, duty: 0, tool_duty: 0, owns_tool: us, storage: true, "
            "drawings: true, releases_tool: true}",
        )
        self.last_quote = key

    def quote(self) -> bool:
        """Ask two suppliers, or one where the family is content with it, and choose."""
        if not self.wait(Gate.QUOTE, 0.5):
            return False
        self.prices = {name: round(self.rng.uniform(low, high), -1) for name, _, low, high in self.kind.tools}
        for name, kind, *_ in self.kind.tools:
            fits = ", made_to_fit: [dies]" if name == "pattern" and "dies" in self.prices else ""
            forms = "" if kind in ("trim-die", "sewing-pattern") else f", forms: [{', '.join(self.sizes)}]"
            fits = ", made_to_fit: [die]" if kind == "trim-die" else fits
            self.sheet.add(
                "tools",
                f"{name}: {{kind: {kind}{forms}{fits}, price: {self.prices[name]:g} USD, owner: us, steps: {{quoted: {self.day}}}}}",
            )
        strayed = self.rng.random() < 0.3 and (self.today - self.day).days < 160
        if strayed:
            self.add_revision(changed=True)  # changed for the toolmaker's sake, and not tried again since
        for index in range(2):
            self.add_quote(index)
            if index == 0 and not self.wait(Gate.QUOTE, 0.15):
                return False
        if strayed:
            return False
        buyer = self.find_people(Role.BUYER, self.day)[0]
        return self.decide(Gate.QUOTE, buyer, f", choose: {self.last_quote}")

    def reach(self, step: str) -> None:
        """Write that every tool reached a step."""
        lines = self.sheet.sections["tools"]
        self.sheet.sections["tools"] = [line.replace("}}", f", {step}: {self.day}}}}}") for line in lines]

    def tool(self) -> bool:
        """Release the money, order, cut, try, and accept on a first article."""
        if not self.wait(Gate.TOOLING, 0.05):
            return False
        if self.rng.random() < 0.3:
            self.day += dt.timedelta(days=self.rng.randint(20, 150))  # waits for cash
            if self.day > self.today or (self.is_quote_over() and not self.renew()):
                return False
        owner = self.find_people(Role.OWNER, self.day)[0]
        self.sheet.add(
            "decisions", f"- {{release: tooling, on: {self.day}, by: {owner}, second: {self.lead}, say: go}}"
        )
        for step, share in (("ordered", 0.02), ("cutting", 0.25), ("on trial", 0.4)):
            if not self.wait(Gate.TOOLING, share):
                return False
            self.reach(step)
        return self.accept()

    def renew(self) -> bool:
        """Ask for the offers again where they ran out long ago; lately it is still to be done."""
        if (self.today - self.day).days < 100:
            return False
        count = len(self.sheet.sections["quotes"])
        self.add_quote(count)
        self.add_quote(count + 1)
        buyer = self.find_people(Role.BUYER, self.day)[0]
        return self.decide(Gate.QUOTE, buyer, f", choose: {self.last_quote}")

    def is_quote_over(self) -> bool:
        """True when the offer that was chosen has run out."""
        line = next(line for line in self.sheet.sections["quotes"] if line.strip().startswith(f"{self.last_quote}:"))
        return dt.date.fromisoformat(line.split("valid_to: ")[1][:10]) < self.day

    def accept(self) -> bool:
        """Inspect finished pieces, refit them, and pass the tooling gate."""
        if not self.wait(Gate.TOOLING, 0.12):
            return False
        tools = ", ".join(name for name, *_ in self.kind.tools)
        covers = ", ".join(self.sizes)
        seen = self.find_other(self.engineer)
        self.sheet.add(
            "first_articles",
            f"FA1: {{tools: [{tools}], of: {self.revision}, on: {self.day}, by: {self.engineer}, seen_by: {seen}, "
            f"pieces: {self.rng.choice((3, 4, 5, 5))}, finished: true, settings: evidence/fa1-settings.csv, covers: [{covers}], "
            "result: good, file: evidence/fa1.md}",
        )
        if not self.add_fit_checks("FA1") or not self.wait(Gate.TOOLING, 0.04):
            return False
        self.reach("accepted")
        pieces = self.rng.randint(60, 400)
        cost = self.rng.uniform(*self.kind.piece)
        if self.decide(Gate.TOOLING, self.lead, f", second: {self.find_other(self.lead)}"):
            self.sheet.add(
                "stock",
                f"stock: {{pieces: {pieces}, unit_cost: {cost:.2f}, salvage: 0.1, in_field: {pieces // 3}, return_cost: 12}}",
            )
        return True


def _is_valid(instrument: Instrument, day: dt.date) -> bool:
    return instrument.calibrated <= day <= instrument.due


def build_synthetic_parts(
    count: int,
    seed: int,
    catalogues: Catalogues,
    today: dt.date,
    taken: frozenset[str] = frozenset(),
    pictures: bool = True,
) -> dict[str, bytes]:
    """Return the files of `count` synthetic parts: path in the workspace -> bytes.

    seed : the same seed gives the same parts. today : nothing is recorded after it. taken : numbers that are in use.
    pictures : also draw each part.
    Raises ValueError when a record that was made is not valid: that is a mistake of this module.
    """
    files: dict[str, bytes] = {}
    number = FIRST_NUMBER
    made = 0
    while made < count:
        name = f"TW-{number}"
        number += 1
        if name in taken:
            continue
        files |= _build_part(name, seed, catalogues, today, pictures)
        made += 1
    return files


def _build_part(name: str, seed: int, catalogues: Catalogues, today: dt.date, pictures: bool) -> dict[str, bytes]:
    walk = _Walk(name, seed, catalogues, today)
    text = walk.write()
    part = _parse(name, text)
    evidence = {path: content.encode("utf-8") for path, content in build_texts(part)}
    for key, revision in part.revisions.items():
        if revision.file is not None and revision.file not in evidence:
            sizes = list(walk.sizes.values())
            evidence[revision.file] = build_box(f"{name} revision {key}, invented", sizes[0], sizes[1], 0.2 * sizes[1])
    if pictures:
        size = " × ".join(f"{walk.sizes[key]:g}" for key in list(walk.sizes)[:2]) + " mm"
        evidence["evidence/drawing.svg"] = draw_part(name, walk.name, walk.kind.archetype, size, seed + int(name[3:]))
    else:
        text = text.replace("picture: evidence/drawing.svg\n", "")
    listed = "".join(f"{hashlib.sha256(evidence[path]).hexdigest()}  {path}\n" for path in sorted(evidence))
    folder = f"projects/{name}"
    files: Mapping[str, bytes] = {f"{folder}/{path}": content for path, content in evidence.items()}
    return {**files, f"{folder}/part.yaml": text.encode("utf-8"), f"{folder}/evidence.sha256": listed.encode("ascii")}


def _parse(name: str, text: str) -> Part:
    path = f"projects/{name}/part.yaml"
    tree, findings = parse_tree(path, text)
    part: Part | None = None
    if tree is not None:
        part, findings = parse_shape(tree, Part)
    if part is None:
        raise ValueError(f"the generator wrote a record that is not valid: {_show(findings)}\n{text}")
    return part


def _show(findings: tuple[Finding, ...]) -> str:
    return "; ".join(f"{f.location} {f.message}" for f in findings)
