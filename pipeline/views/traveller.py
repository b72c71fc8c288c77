"""The traveller: one page that goes to the vehicle with a sample, and the CSV into which it is typed afterwards."""

from __future__ import annotations

import csv
import io
from collections.abc import Iterator
from dataclasses import dataclass
from urllib.parse import quote as quote_address
from urllib.parse import urlsplit

from pipeline.lineage.coverage import CellState
from pipeline.model.catalogue import Catalogues
from pipeline.model.part import Feature
from pipeline.model.words import GATES, Gate, GateState, Hand, SafetyLevel
from pipeline.portfolio.portfolio import PartFile
from pipeline.reading.traveller import COLUMNS
from pipeline.views.addresses import PARTS, find_part_page
from pipeline.views.open_cells import find_cars, find_open_cells
from pipeline.views.part_head import build_cautions, build_fit_link, build_title_block
from pipeline.views.reasons import word_features
from pipeline.views.requirements import find_need, word_requirement
from pipeline.views.shapes_charts import QrCode
from pipeline.views.shapes_marks import Caution, Line, Link, Run, Tone, build_line
from pipeline.views.shapes_part import TitleBlock
from pipeline.views.shapes_site import Figure, PageHead
from pipeline.views.wording import count_decimals, word_day, word_gap, word_list, word_number, word_unit

LONGEST_ADDRESS = 300
"""Letters of an address that a code may hold: a longer one gives a code too fine to be read from paper."""
MOST_MISSING = 6
"""Requirements of the open gate that the sheet names; the part's page has them all."""
ROOMY_LINES = 12
"""Lines to write on that one page holds with ease."""
NOTHING_OPEN = "Every application and hand has a good fresh fit check. Use the sheet to try it again after a change."
NO_FEATURE = "No feature is on record. Write them under features: with nominal and limits, the critical ones marked."


@dataclass(frozen=True)
class TravellerRow:
    """One row of the sheet and of the CSV: an interface (empty: the whole part) on one application and hand.

    line : its line in the CSV, whose heading is line 1. sample : what to try there, as the record names it.
    """

    line: int
    sample: str
    car: str
    fits: str
    hand: str
    interface: str
    what: str = ""
    limits: str = ""


@dataclass(frozen=True)
class TravellerGroup:
    """The rows of one application and hand. state : what is known so far. cars : where it can be tried."""

    fits: str
    hand: str
    where: str
    state: str
    cars: str
    sample: str
    rows: tuple[TravellerRow, ...]


@dataclass(frozen=True)
class TravellerFeature:
    """One feature to look at or to measure, with its limits as sizes where it has both."""

    key: str
    what: str
    nominal: str
    limits: str
    unit: str
    critical: bool


@dataclass(frozen=True)
class TravellerSheet:
    """The sheet of one part. Template ``traveller.html`` takes it. ``figures`` holds the code alone."""

    head: PageHead
    block: TitleBlock
    figures: tuple[Figure, ...]
    code_words: str
    sample: Line
    gate: str
    missing: tuple[Line, ...]
    groups: tuple[TravellerGroup, ...]
    no_groups: str
    features: tuple[TravellerFeature, ...]
    no_features: str
    cautions: tuple[Caution, ...]
    typed: Line
    back: Link
    csv_href: str
    csv: str

    @property
    def is_long(self) -> bool:
        """True when it has more rows than leave room to write with ease: it prints close, its head on each page."""
        lines = sum(1 + len(group.rows) for group in self.groups) + len(self.features)
        return lines > ROOMY_LINES


def find_traveller(number: str) -> str:
    """Return the address of a part's traveller.

    >>> find_traveller("TW-101")
    'travellers/TW-101.html'
    """
    return f"travellers/{quote_address(number)}.html"


def find_traveller_csv(number: str) -> str:
    """Return the address of the CSV into which the sheet is typed."""
    return f"travellers/{quote_address(number)}.csv"


def has_traveller(file: PartFile) -> bool:
    """True when there is something to take to a vehicle: a dropped part stays where it is."""
    return not file.standing.is_dropped


def build_traveller(file: PartFile, site: str = "") -> TravellerSheet:
    """Make the sheet. It never says that a part is safe.

    site : address under which the site is served; that of shared/shop.yaml, if empty.
    """
    number = file.number
    text, words = find_code_text(file, site)
    gate = file.standing.gate
    return TravellerSheet(
        head=PageHead(
            f"Traveller {number}",
            find_traveller(number),
            f"{file.part.name}: what to try and to measure at the vehicle.",
            "parts",
            (Link("Parts", PARTS), Link(number, find_part_page(number))),
        ),
        block=build_title_block(file),
        figures=(Figure(QrCode(f"Code of {number}", words, text)),),
        code_words=words,
        sample=_say_sample(file),
        gate="" if gate is None else gate.value,
        missing=tuple(_list_missing(file)),
        groups=build_groups(file),
        no_groups=NOTHING_OPEN,
        features=tuple(_list_features(file)),
        no_features=NO_FEATURE,
        cautions=_pick_cautions(file),
        typed=build_line(
            "Typed in afterwards: fill the CSV of the same rows and run ",
            Run(f"pipeline fit {number} TRAVELLER.csv", Tone.STRONG),
            ". Words of the heads are its columns, row numbers its lines; a feature that was looked at is named in "
            "covers, its reading in note.",
        ),
        back=Link(f"The page of {number}", find_part_page(number)),
        csv_href=find_traveller_csv(number),
        csv=render_empty_traveller(file),
    )


# --- the code -------------------------------------------------------------------------------------


def find_code_text(file: PartFile, site: str) -> tuple[str, str]:
    """Return what the code holds, and that in words: the page's address, or the number where no site is known."""
    page = find_part_page(file.number)
    for base in (site, file.workspace.catalogues.shop.site or ""):
        if _is_address(base) and len(base) + len(page) <= LONGEST_ADDRESS:
            address = f"{base.rstrip('/')}/{page}"
            return address, address
    return f"{file.number} {page}", f"{page} in the site's folder; the site has no address yet"


def _is_address(text: str) -> bool:
    """True for an address of the web in plain letters; a record can hold any text there."""
    if not text.isascii() or not text.isprintable() or " " in text:
        return False
    try:
        parts = urlsplit(text)
    except ValueError:
        return False
    return parts.scheme in ("http", "https") and bool(parts.hostname) and not parts.query and not parts.fragment


# --- what to try ----------------------------------------------------------------------------------


def find_sample(file: PartFile, hand: Hand) -> str:
    """Return the sample to try for a hand: one that still stands before one that does not, the youngest; empty if none.

    First articles and prototypes of that hand, and those of none.
    """
    part, found = file.part, []
    for section in ("prototypes", "first_articles"):
        for key, sample in getattr(part, section).items():
            if sample.hand in (Hand.NONE, hand):
                found.append((file.lineage.is_fresh(f"{section}.{key}"), sample.on, section == "first_articles", key))
    return max(found)[-1] if found else ""


def _say_sample(file: PartFile) -> Line:
    """Say which revision is current and what to take along."""
    current, part = file.lineage.current, file.part
    if current is None:
        return (Run("There is no model yet: measure the originals below. "), Run("Nothing to try.", Tone.STRONG))
    hands = (Hand.NONE,) if part.hands is None else (Hand.LEFT, Hand.RIGHT)
    names = dict.fromkeys(name for hand in hands if (name := find_sample(file, hand)))
    runs = [Run(f"Current revision {current}. ", Tone.STRONG)]
    if not names:
        return (*runs, Run(f"There is no sample of it: build a prototype of {current} first.", Tone.FLAG))
    for name in names:
        sample = part.prototypes.get(name) or part.first_articles[name]
        section = "prototypes" if name in part.prototypes else "first_articles"
        kind = _word_process(file, name)
        runs.append(Run(f"Take {name}, {kind} of revision {sample.of}, {word_day(sample.on)}. ", Tone.STRONG))
        reasons = file.lineage.reasons.get(f"{section}.{name}", ())
        if reasons:
            words = word_features(file, reasons[0].words)
            runs.append(Run(f"It no longer stands: {words}. A trial with it proves nothing of that.", Tone.FLAG))
    return tuple(runs)


def _word_process(file: PartFile, name: str) -> str:
    prototype = file.part.prototypes.get(name)
    if prototype is None:
        return "first article"
    found = file.workspace.catalogues.processes.processes.get(prototype.process)
    process = prototype.process if found is None else found.name
    coat = ", coated" if prototype.coated else ""
    return f"{process[:1].lower()}{process[1:]}{coat}" if not process[:2].isupper() else f"{process}{coat}"


def list_rows(file: PartFile) -> tuple[TravellerRow, ...]:
    """Return the rows of the sheet and of the CSV: each interface on each application and hand that is still open."""
    made: list[TravellerRow] = []
    for cell in find_open_cells(file):
        cars = find_cars(file.workspace.catalogues, file.part, cell.application)
        sample = find_sample(file, cell.hand)
        hand = "" if cell.hand is Hand.NONE else cell.hand.value
        for interface in list(file.part.interfaces) or [""]:
            entry = file.part.interfaces.get(interface)
            what = "the whole part" if entry is None else entry.what
            limits = "" if entry is None else word_gap(entry.gap.limits, entry.gap.unit)
            car = cars[0] if len(cars) == 1 else ""
            made.append(TravellerRow(len(made) + 2, sample, car, cell.application, hand, interface, what, limits))
    return tuple(made)


def build_groups(file: PartFile) -> tuple[TravellerGroup, ...]:
    """Return the rows by application and hand, with what is known of each so far."""
    rows, catalogues = list_rows(file), file.workspace.catalogues
    groups = []
    for cell in find_open_cells(file):
        hand = "" if cell.hand is Hand.NONE else cell.hand.value
        mine = tuple(row for row in rows if (row.fits, row.hand) == (cell.application, hand))
        cars = find_cars(catalogues, file.part, cell.application)
        known = cell.state.value if cell.check is None else f"{cell.check} {cell.state}"
        words = "not tried yet" if cell.state is CellState.MISSING else known
        where = build_fit_link(catalogues, file.part.fits[cell.application]).text
        sample = find_sample(file, cell.hand)
        groups.append(TravellerGroup(cell.application, hand, where, words, _word_cars(catalogues, cars), sample, mine))
    return tuple(groups)


def _word_cars(catalogues: Catalogues, cars: tuple[str, ...]) -> str:
    if not cars:
        return "no vehicle on record: find one of these years"
    words = []
    for key in cars:
        car = catalogues.vehicles.cars[key]
        away = ", away" if car.days_per_week == 0 else ""
        words.append(f"{key} ({car.year}{away})")
    return word_list(words, 4)


def render_empty_traveller(file: PartFile) -> str:
    """Return the traveller as CSV to be filled in; `pipeline fit` reads it. A row that stays empty is passed over."""
    table = io.StringIO()
    writer = csv.writer(table, lineterminator="\n")
    writer.writerow(COLUMNS)
    for row in list_rows(file):
        filled = {"with": row.sample, "car": row.car, "fits": row.fits, "hand": row.hand, "interface": row.interface}
        writer.writerow([filled.get(name, "") for name in COLUMNS])
    return table.getvalue()


# --- what to measure, what is missing, what to mind -----------------------------------------------


def word_sizes(feature: Feature) -> tuple[str, str]:
    """Return nominal and limits as what an instrument should show, not as deviations from the nominal."""
    found = (None, None) if feature.limits is None else (feature.limits.lower, feature.limits.upper)
    decimals = max([count_decimals(feature.nominal), *(count_decimals(one) for one in found if one is not None)])
    low, high = (None if one is None else word_number(feature.nominal + one, decimals) for one in found)
    ends = f"{low} to {high}" if low and high else f"at least {low}" if low else f"at most {high}" if high else ""
    return word_number(feature.nominal, decimals), ends


def _list_features(file: PartFile) -> Iterator[TravellerFeature]:
    """Yield the critical features; all of them where none is marked critical."""
    features = file.part.features
    critical = {key: feature for key, feature in features.items() if feature.critical}
    for key, feature in (critical or features).items():
        nominal, limits = word_sizes(feature)
        yield TravellerFeature(key, feature.what, nominal, limits, word_unit(feature.unit), feature.critical)


def _list_missing(file: PartFile) -> Iterator[Line]:
    """Yield what the first open gate still wants, and a stale fit check, with what is there so far, in plain words."""
    standing = file.standing
    if standing.gate is None or standing.is_dropped:
        return
    stale_fit = standing.gates[Gate.FIT_CHECK].state is GateState.STALE
    gates = [one for one in GATES if one is standing.gate or (one is Gate.FIT_CHECK and stale_fit)]
    lines = []
    for gate in gates:
        for requirement in standing.gates[gate].open_requirements:
            wants = word_requirement(requirement.id, find_need(file, requirement.id))
            known = word_features(file, requirement.answer.words)
            lines.append((Run(f"{gate}: ", Tone.SOFT), Run(wants, Tone.STRONG), Run(f"; so far: {known}")))
    yield from lines[:MOST_MISSING]
    if len(lines) > MOST_MISSING:
        yield build_line(f"and {len(lines) - MOST_MISSING} more on the part's page")
    if not lines:
        waits = "held" if standing.state is GateState.HELD else "it waits for a decision"
        yield build_line(f"Nothing: all that the {standing.gate} gate wants is in hand; {waits}.")


def _pick_cautions(file: PartFile) -> tuple[Caution, ...]:
    """Return the class, regulations in one line, hazards of the originals, the family's own, and the standing one."""
    serious = file.part.safety is not SafetyLevel.S0
    found, review = build_cautions(file), file.part.safety_review
    known = file.workspace.catalogues.safety.regulations
    numbers = [
        f"{known[key].system} {known[key].number}" for key in (review.regulations if review else ()) if key in known
    ]
    titles = tuple(f"{one}." for one in numbers)
    kept = [one for one in found if one.title not in (*titles, "Note.", "Test plan.")]
    if numbers:
        kept.append(Caution("Regulations to check.", f"{word_list(numbers, 8)}; see the part's page."))
    words = "A good fit check proves nothing about strength, heat, light or crash. Do not drive with a sample fitted. "
    words += "Local codes and licensed practice decide."
    return (*kept, Caution("A part that fits is not a safe part.", words, strong=serious))
