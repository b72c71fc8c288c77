"""From the portfolio to what may leave the house: each value is let out by name, in the data, before any page is made.

This is the only place where a part's file and what outsiders see of it meet.
"""

from __future__ import annotations

import datetime as dt
import re
from collections.abc import Collection, Iterator, Mapping

from pipeline.gates.standing import find_released_once
from pipeline.lineage.coverage import CellState, compute_coverage
from pipeline.model.catalogue import Catalogues
from pipeline.model.edition import INTERNAL, Edition, OuterField
from pipeline.model.part import Application
from pipeline.model.words import Gate, GateState, Hand, SafetyLevel, ToolStep
from pipeline.model.workspace import Workspace
from pipeline.portfolio.edition_unknown import EditionUnknown
from pipeline.portfolio.funding_ready import forecast_ready
from pipeline.portfolio.letting_out import find_hazards, find_leaving, is_embargoed, list_deciding, list_numbers
from pipeline.portfolio.outer_part import (
    OuterBody,
    OuterCatalogue,
    OuterComponent,
    OuterEvent,
    OuterFeature,
    OuterFit,
    OuterGap,
    OuterHands,
    OuterHazard,
    OuterMarking,
    OuterNews,
    OuterPart,
    OuterPicture,
    OuterPrice,
    OuterRegulation,
    OuterSafety,
    OuterShop,
    OuterStage,
    OuterState,
    OuterTrial,
    OuterTrialState,
    OuterVehicle,
)
from pipeline.portfolio.portfolio import PartFile, Portfolio

_STAGES = {
    Gate.MEASURE: OuterStage.MEASURING,
    Gate.MODEL: OuterStage.DRAWING,
    Gate.PROTOTYPE: OuterStage.SAMPLES,
    Gate.FIT_CHECK: OuterStage.TRYING,
    Gate.QUOTE: OuterStage.PREPARING,
    Gate.TOOLING: OuterStage.TOOLING,
}
_TRIALS = {
    CellState.GOOD: OuterTrialState.TRIED,
    CellState.STALE: OuterTrialState.AGAIN,
    CellState.BAD: OuterTrialState.CHANGING,
    CellState.OPEN: OuterTrialState.NOT_YET,
    CellState.MISSING: OuterTrialState.NOT_YET,
}
LEAST_WEEKS = 1.0
"""A part that is not for sale today is not expected sooner, however late its tools are."""


def find_edition(catalogues: Catalogues | None, name: str) -> Edition:
    """Return an outer edition. catalogues : None where they cannot be used. Raises EditionUnknown."""
    if catalogues is None:
        raise EditionUnknown("the catalogues cannot be used, so nothing leaves the house; `pipeline check` says why")
    told = catalogues.editions
    if told is None:
        raise EditionUnknown("shared/editions.yaml cannot be used, so nothing leaves; `pipeline check` says why")
    if name not in told.editions:
        known = ", ".join((INTERNAL, *told.editions))
        raise EditionUnknown(f'there is no edition "{name}"; the editions are {known} (shared/editions.yaml)')
    return told.editions[name]


def _find_catalogues(portfolio: Portfolio) -> Catalogues | None:
    return None if portfolio.workspace is None else portfolio.workspace.catalogues


def list_leaving(portfolio: Portfolio, name: str) -> tuple[str, ...]:
    """Return the numbers of the parts that leave in an edition. Raises EditionUnknown."""
    edition = find_edition(_find_catalogues(portfolio), name)
    if portfolio.workspace is None:
        return ()
    return tuple(
        n for n in find_leaving(portfolio.workspace, portfolio.checked.standings, edition) if n in portfolio.parts
    )


def list_embargoed(portfolio: Portfolio) -> tuple[str, ...]:
    """Return every number, those of hands too, that outsiders must not learn today."""
    today = None if portfolio.workspace is None else portfolio.workspace.today
    parts = [] if portfolio.workspace is None else portfolio.workspace.parts.values()
    return tuple(n for part in parts if today and is_embargoed(part, today) for n in list_numbers(part))


def build_outer_catalogue(portfolio: Portfolio, name: str, pictures: Mapping[str, OuterPicture]) -> OuterCatalogue:
    """Return an edition: what leaves of the maker, of each part that leaves, and of the vehicles that they fit.

    pictures : by part number, as they will lie in the outer site. Raises EditionUnknown.
    """
    edition = find_edition(_find_catalogues(portfolio), name)
    numbers = list_leaving(portfolio, name)
    maker = _Maker(edition, frozenset(numbers), pictures)
    parts = tuple(maker.build(portfolio.parts[number]) for number in numbers)
    workspace = portfolio.workspace
    assert workspace is not None  # find_edition has refused a workspace without catalogues
    shop = workspace.catalogues.shop
    says = frozenset(field.value for field in edition.fields)
    outer = OuterShop(shop.name, shop.note or "", name, edition.intro or "", workspace.today, says)
    return OuterCatalogue(outer, parts, tuple(_build_vehicles(workspace, parts)))


def _build_vehicles(workspace: Workspace, parts: Collection[OuterPart]) -> Iterator[OuterVehicle]:
    """Yield the vehicles that something fits; of one that nothing fits it is not told that it is known here."""
    fitted = {fit.vehicle for part in parts for fit in part.fits}
    taken: set[str] = set()
    for vehicle in workspace.catalogues.vehicles.vehicles.values():
        if vehicle.name in fitted:
            anchor = "vehicle-" + (re.sub(r"[^a-z0-9]+", "-", vehicle.name.casefold())[:60].strip("-") or "one")
            while anchor in taken:
                anchor += "-"
            taken.add(anchor)
            bodies = tuple(OuterBody(b.name, b.years.first, b.years.last) for b in vehicle.bodies.values())
            yield OuterVehicle(vehicle.name, anchor, bodies)


class _Maker:
    """Makes what leaves of one part. Every value is asked for by name; what is not named here stays."""

    def __init__(self, edition: Edition, leaving: frozenset[str], pictures: Mapping[str, OuterPicture]) -> None:
        self.says = frozenset(edition.fields)
        self.leaving = leaving
        self.pictures = pictures

    def build(self, file: PartFile) -> OuterPart:
        """Return what leaves of a part."""
        part, catalogues, says = file.part, file.workspace.catalogues, self.says
        state = _find_state(file)
        serious = part.safety is not SafetyLevel.S0
        return OuterPart(
            number=part.part,
            name=part.name,
            state=state,
            fits=tuple(_build_fit(file, fit) for fit in part.fits.values()),
            safety=_build_safety(file),
            regulations=tuple(_find_regulations(file)) if serious else (),
            hazards=tuple(_find_hazards(file)),
            synthetic=part.synthetic,
            announced=part.announce,
            family=catalogues.families.families[part.family].name if OuterField.FAMILY in says else "",
            hands=_build_hands(file) if OuterField.HANDS in says else None,
            replaces=tuple(old.number for old in part.supersedes) if OuterField.REPLACES in says else (),
            picture=self.pictures.get(part.part) if OuterField.PICTURE in says else None,
            marking=_build_marking(file) if OuterField.MARKING in says else None,
            stage=_find_stage(file, state) if OuterField.STAGE in says else None,
            expected=_find_expected(file, state) if OuterField.EXPECTED in says else "",
            price=_build_price(file, state) if OuterField.PRICE in says else None,
            contents=self.build_contents(file) if OuterField.CONTENTS in says else (),
            fitting=tuple(_find_gaps(file)) if OuterField.FITTING in says else (),
            trials=tuple(_find_trials(file)) if OuterField.TRIALS in says else (),
            news=tuple(_find_news(file, state)),
        )

    def build_contents(self, file: PartFile) -> tuple[OuterComponent, ...]:
        """Return the contents of a kit; none where one of them stays: half a list would be wrong, and tell of a gap."""
        own = [component for component in file.part.made_of.values() if component.part is not None]
        if any(component.part not in self.leaving for component in own):
            return ()
        parts = file.workspace.parts
        return tuple(OuterComponent(c.part, parts[c.part].name, c.count) for c in own if c.part is not None)


def _find_state(file: PartFile) -> OuterState:
    if file.standing.released:
        return OuterState.FOR_SALE
    return OuterState.PAUSED if file.standing.state is GateState.HELD else OuterState.COMING


def _find_news(file: PartFile, state: OuterState) -> Iterator[OuterNews]:
    """Yield that a part was announced, and that it is for sale: what the edition says anyhow, with its day.

    Outsiders do not learn that it was ready before they were told of it: such a day is that of the announcement.
    """
    announced, today = file.part.announce, file.workspace.today
    if announced is not None and announced <= today:
        yield OuterNews(OuterEvent.ANNOUNCED, announced)
    released = find_released_once(file.standing) if state is OuterState.FOR_SALE else None
    if released is not None:
        day = released if announced is None else max(released, announced)
        if day <= today:
            yield OuterNews(OuterEvent.FOR_SALE, day)


def _find_stage(file: PartFile, state: OuterState) -> OuterStage | None:
    if state is OuterState.PAUSED:
        return None
    gate = file.standing.gate
    if gate is Gate.MEASURE and file.standing.state is GateState.NOT_STARTED:
        return OuterStage.PLANNED
    return OuterStage.DONE if gate is None else _STAGES[gate]


def _build_fit(file: PartFile, fit: Application) -> OuterFit:
    vehicle = file.workspace.catalogues.vehicles.vehicles.get(fit.vehicle)
    body = None if vehicle is None else vehicle.bodies.get(fit.body)
    names = ("a vehicle" if vehicle is None else vehicle.name, "a body" if body is None else body.name)
    return OuterFit(*names, fit.years.first, fit.years.last)


def _build_safety(file: PartFile) -> OuterSafety:
    level = file.part.safety
    found = file.workspace.catalogues.safety.classes.get(level)
    words = (level.value, "", "") if found is None else (found.name, found.meaning, found.caution)
    return OuterSafety(level.value, *words, serious=level is not SafetyLevel.S0)


def _find_regulations(file: PartFile) -> Iterator[OuterRegulation]:
    review = file.part.safety_review
    for key in () if review is None else review.regulations:
        found = file.workspace.catalogues.safety.regulations.get(key)
        if found is not None:
            yield OuterRegulation(found.system, found.number, found.subject, found.seen)


def _find_hazards(file: PartFile) -> Iterator[OuterHazard]:
    """Yield the hazards by the words of the catalogue; what somebody wrote of one original in his own words stays."""
    known = file.workspace.catalogues.safety.hazards
    keys, others = find_hazards(file.part, known)
    yield from (OuterHazard(key.replace("-", " "), known[key]) for key in keys)
    if others:
        yield OuterHazard("", "")


def _build_hands(file: PartFile) -> OuterHands | None:
    hands = file.part.hands
    return None if hands is None else OuterHands(hands.left, hands.right)


def _build_marking(file: PartFile) -> OuterMarking | None:
    marking = file.part.marking
    if marking is None or marking.kind == "none":
        return None
    return OuterMarking(marking.kind, marking.text or "", marking.where or "")


def _build_price(file: PartFile, state: OuterState) -> OuterPrice | None:
    """Return the price of a part that is for sale or announced; of another one it is nobody's business yet."""
    demand, planned = file.part.demand, state is not OuterState.FOR_SALE
    if demand is None or (planned and file.part.announce is None):
        return None
    return OuterPrice(demand.price.amount, demand.price.currency, planned)


def _find_gaps(file: PartFile) -> Iterator[OuterGap]:
    part = file.part
    for interface in part.interfaces.values():
        features = tuple(_build_feature(file, key) for key in list_deciding(part, interface))
        limits = interface.gap.limits
        yield OuterGap(interface.what, limits.lower, limits.upper, interface.gap.unit, features)


def _build_feature(file: PartFile, key: str) -> OuterFeature:
    feature = file.part.features[key]
    limits = feature.limits
    ends = (None, None) if limits is None else (limits.lower, limits.upper)
    return OuterFeature(feature.what, feature.nominal, *ends, feature.unit)


def _find_trials(file: PartFile) -> Iterator[OuterTrial]:
    for cell in compute_coverage(file.part, file.lineage).cells:
        hand = "" if cell.hand is Hand.NONE else cell.hand.value
        yield OuterTrial(_build_fit(file, file.part.fits[cell.application]), hand, _TRIALS[cell.state])


def _find_expected(file: PartFile, state: OuterState) -> str:
    """Return the quarter in which a part is likely to be for sale; empty where it is, or where nobody can say.

    Reckoned from the part's own record and the long end of what its family usually takes, so that it tells nothing of
    any other part; the owner's `plan` may put it off. Weeks of tools that are ordered count from the order.
    """
    wish, ready, today = file.part.plan, forecast_ready(file), file.workspace.today
    if state is not OuterState.COMING or not ready.known or (wish is not None and wish.must is False):
        return ""
    usual = file.workspace.catalogues.families.families[file.part.family].weeks.get(Gate.TOOLING)
    if usual is None:
        return ""
    orders = [tool.steps[ToolStep.ORDERED] for tool in file.part.tools.values() if ToolStep.ORDERED in tool.steps]
    gone = (today - min(orders)).days / 7 if orders and ready.is_now else 0.0
    weeks = min(ready.high + max(usual.high - gone, LEAST_WEEKS), 52.0 * 20)
    quarter = name_quarter(today + dt.timedelta(weeks=weeks))
    return quarter if wish is None or wish.not_before is None else max(quarter, wish.not_before)


def name_quarter(day: dt.date) -> str:
    """Return the quarter of a day.

    >>> name_quarter(dt.date(2026, 11, 30))
    '2026-Q4'
    """
    return f"{day.year:04}-Q{(day.month - 1) // 3 + 1}"
