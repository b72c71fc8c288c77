"""The list of parts: every row with its rail, its age and what is at stake, and the words by which it is found."""

from __future__ import annotations

from pipeline.gates.quoted import find_chosen
from pipeline.model.words import GATES, Gate, GateState
from pipeline.portfolio.outlook import find_outlook
from pipeline.portfolio.portfolio import PartFile, Portfolio
from pipeline.views.addresses import PARTS, PARTS_CSV, PARTS_DATA, find_part_page
from pipeline.views.next_steps import find_actions
from pipeline.views.part_gates import word_nothing_to_do
from pipeline.views.part_head import build_fit_link, name_safety, word_fits
from pipeline.views.reasons import word_features
from pipeline.views.shapes_marks import MARK_WORDS, Mark
from pipeline.views.shapes_parts import Facet, PartRow, PartsPage
from pipeline.views.shapes_site import PageHead
from pipeline.views.states import find_gate_mark, name_body, name_person, name_supplier, name_vehicle, word_gate_state
from pipeline.views.wording import shorten, word_count, word_list, write_sentence

FACETS = (
    Facet("vehicle", "vehicle", "all vehicles"),
    Facet("body", "body", "all bodies"),
    Facet("year", "year", "all years"),
    Facet("hand", "hand", "all hands"),
    Facet("family", "family", "all families"),
    Facet("gate", "stage", "all stages"),
    Facet("state", "state", "all states"),
    Facet("readiness", "readiness", "any readiness"),
    Facet("engineer", "engineer", "all engineers"),
    Facet("resource", "waits for", "all resources"),
    Facet("safety", "safety class", "all safety classes"),
    Facet("supplier", "supplier", "all suppliers"),
)
FIELDS = ("number", "name", "fits", "family", "engineer", "supplier", "features", "notes")
RELEASED = "released"
NEXT_LETTERS = 110
FEW_MISSING = 2
"""Up to so many missing requirements each count is a choice of its own (common practice, no source)."""


def build_parts_page(portfolio: Portfolio) -> PartsPage:
    """Make the list of all parts, in the order of their numbers."""
    files = list(portfolio.parts.values())
    unit = "" if portfolio.workspace is None else portfolio.workspace.catalogues.money.currency
    head = PageHead("Parts", PARTS, word_parts(portfolio), "parts")
    waiting = find_waiting(portfolio)
    rows = tuple(build_part_row(file, waiting.get(file.number, ())) for file in files)
    empty = "No part is recorded. Write projects/<number>/part.yaml; `pipeline schema part` tells an editor how."
    return PartsPage(head, rows, FACETS, FIELDS, unit, PARTS_DATA, PARTS_CSV, empty)


def word_parts(portfolio: Portfolio) -> str:
    """Return how many parts there are, how many are synthetic, and how many were left out."""
    files = list(portfolio.parts.values())
    words = word_count(len(files), "part")
    synthetic = sum(file.part.synthetic for file in files)
    if synthetic:
        words += f", {synthetic} of them synthetic"
    left_out = portfolio.checked.reading.records - len(files)
    if left_out > 0:
        record = word_count(left_out, "record")
        words += f"; {record} cannot be read and {'is' if left_out == 1 else 'are'} left out: see the review"
    return words + "."


def build_part_row(file: PartFile, waits_for: tuple[str, ...] = ()) -> PartRow:
    """Make one row of the list. waits_for : the resources in whose queue the part stands."""
    part, standing = file.part, file.standing
    gate = standing.gate or Gate.TOOLING
    mark = Mark.PROVEN if standing.released else find_gate_mark(file, gate)
    rail = tuple(find_gate_mark(file, one) for one in GATES)
    last = standing.last_evidence
    age = 0 if last is None else max((file.workspace.today - last).days, 0)
    cost = None if file.ladder is None else file.ladder.part.today.total
    return PartRow(
        number=part.part,
        name=part.name,
        href=find_part_page(part.part),
        fits=word_fits(file.workspace.catalogues, part),
        family=file.workspace.catalogues.families.families[part.family].name,
        gate=RELEASED if standing.released else gate.value,
        stage_order=len(GATES) if standing.released else GATES.index(gate),
        state="for sale" if standing.released else _word_state(file, gate),
        mark=Mark.STALE if standing.hold_calls else mark,
        rail=rail,
        rail_words=", ".join(f"{g.value} {MARK_WORDS[m]}" for g, m in zip(GATES, rail, strict=True)),
        engineer=name_person(file.workspace.catalogues, part.engineer),
        safety=name_safety(file.workspace.catalogues, part.safety) if part.safety.value != "S0" else "",
        age="–" if last is None else f"{age} d",
        age_days=age,
        stake="–" if cost is None or cost.likely == 0 else f"{cost.likely:,.0f}",
        stake_value=0.0 if cost is None else float(round(cost.likely)),
        next=_word_next(file),
        facets=_find_facets(file, gate, mark, waits_for),
        texts=_find_texts(file),
    )


def _word_state(file: PartFile, gate: Gate) -> str:
    return "hold call" if file.standing.hold_calls else word_gate_state(file, gate)


def _word_next(file: PartFile) -> str:
    actions = find_actions(file)
    if not actions:
        return word_nothing_to_do(file).partition(":")[0] + "."
    words = word_features(file, actions[0].do).partition(": `")[0].replace("`", "")  # how it is typed: the part's page
    return shorten(write_sentence(words), NEXT_LETTERS)


def word_readiness(file: PartFile) -> str:
    """Return how much the part wants for its next decision: of its own gate, and of earlier ones that went stale."""
    standing = file.standing
    if standing.released:
        return "for sale"
    if standing.state in (GateState.HELD, GateState.DROPPED):
        return standing.state.value
    looked = [one for one in standing.gates.values() if one.gate is standing.gate or one.state is GateState.STALE]
    missing = sum(len(one.open_requirements) for one in looked)
    if missing == 0:
        return "a decision is wanted"
    if missing <= FEW_MISSING:
        return f"{word_count(missing, 'requirement')} missing"
    return f"{FEW_MISSING + 1} or more requirements missing"


def find_waiting(portfolio: Portfolio) -> dict[str, tuple[str, ...]]:
    """Return, by part, the resources in whose queue it stands now; empty where the flow was not reckoned."""
    outlook = find_outlook(portfolio)
    if outlook is None or outlook.flow is None or portfolio.workspace is None:
        return {}
    known = portfolio.workspace.catalogues.resources.resources
    found: dict[str, dict[str, None]] = {}
    for one in outlook.flow.resources:
        name = known[one.key.partition(":")[0]].name  # an engineer's own share of an hour is the engineer's filter
        for number in one.parts:
            found.setdefault(number, {})[name] = None
    return {number: tuple(names) for number, names in found.items()}


def _find_suppliers(file: PartFile) -> tuple[str, ...]:
    """Return the suppliers of a part by name: the chosen one first, then who quotes, makes tools or works on it."""
    part, catalogues = file.part, file.workspace.catalogues
    chosen = find_chosen(part)
    keys = [part.quotes[chosen].from_] if chosen in part.quotes else []
    keys += [quote.from_ for quote in part.quotes.values()]
    keys += [tool.by for tool in part.tools.values() if tool.by]
    keys += [operation.at for operation in part.route if operation.at]
    known = [key for key in dict.fromkeys(keys) if key in catalogues.suppliers.suppliers]
    return tuple(name_supplier(catalogues, key) for key in known)


def _find_facets(file: PartFile, gate: Gate, mark: Mark, waits_for: tuple[str, ...]) -> tuple[tuple[str, ...], ...]:
    part, catalogues = file.part, file.workspace.catalogues
    fits = part.fits.values()
    years = sorted({year for fit in fits for year in range(fit.years.first, fit.years.last + 1)})
    return (
        tuple(dict.fromkeys(name_vehicle(catalogues, fit.vehicle) for fit in fits)),
        tuple(dict.fromkeys(name_body(catalogues, fit.vehicle, fit.body) for fit in fits)),
        tuple(str(year) for year in years),
        ("one, no hand",) if part.hands is None else ("left", "right"),
        (catalogues.families.families[part.family].name,),
        (RELEASED if file.standing.released else gate.value,),
        ("hold call" if file.standing.hold_calls else "for sale" if file.standing.released else MARK_WORDS[mark],),
        (word_readiness(file),),
        (name_person(catalogues, part.engineer),),
        waits_for,
        (name_safety(catalogues, part.safety),),
        _find_suppliers(file),
    )


def _find_texts(file: PartFile) -> tuple[str, ...]:
    """Return the words by which a part is found, one text for each field."""
    part, catalogues = file.part, file.workspace.catalogues
    numbers = [part.part, *(old.number for old in part.supersedes)]
    if part.hands is not None:
        numbers += [part.hands.left, part.hands.right]
    fits = [build_fit_link(catalogues, fit).text for fit in part.fits.values()]
    features = [feature.what for feature in part.features.values()]
    return (
        " ".join(dict.fromkeys(numbers)),
        part.name,
        "; ".join(fits),
        catalogues.families.families[part.family].name,
        name_person(catalogues, part.engineer),
        "; ".join(_find_suppliers(file)),
        word_list(features, 12),
        shorten(part.note or "", 200),
    )
