"""The shapes that the templates of an outer edition take."""

from __future__ import annotations

from dataclasses import dataclass

from pipeline.views.shapes_marks import Caution, Link, Mark, Picture, Table
from pipeline.views.shapes_part import GateRail
from pipeline.views.shapes_parts import Facet
from pipeline.views.shapes_site import MarkMeaning, MatrixCell, PageHead, Tally, VehicleMatrix


@dataclass(frozen=True)
class OuterPlate:
    """A part on the first page: a plate with its picture, its number and name, what it fits and how it stands."""

    number: str
    name: str
    href: str
    fits: str
    mark: Mark
    state: str
    note: str
    price: str
    picture: Picture | None


@dataclass(frozen=True)
class OuterShelf:
    """Plates of one kind, and where the rest is."""

    anchor: str
    title: str
    aside: str
    plates: tuple[OuterPlate, ...]
    more: Link | None
    empty: str


@dataclass(frozen=True)
class OuterVehicleLine:
    """A vehicle on the first page: what is to be had for it."""

    vehicle: Link
    words: str


@dataclass(frozen=True)
class OuterHomePage:
    """What is there and what is coming. Template ``outer_home.html``."""

    head: PageHead
    intro: str
    tallies: tuple[Tally, ...]
    shelves: tuple[OuterShelf, ...]
    vehicles: tuple[OuterVehicleLine, ...]


@dataclass(frozen=True)
class OuterRow:
    """One part in the list. ``facets`` and ``texts`` as those of the page, in their order; ``keys`` sort."""

    number: str
    name: str
    href: str
    family: str
    fits: str
    mark: Mark
    state: str
    expected: str
    price: str
    replaces: str
    facets: tuple[tuple[str, ...], ...]
    texts: tuple[str, ...]
    keys: tuple[str | float, ...]


@dataclass(frozen=True)
class OuterPartsPage:
    """Every part that is let out. Template ``outer_parts.html``. A column that says nothing is left away."""

    head: PageHead
    rows: tuple[OuterRow, ...]
    facets: tuple[Facet, ...]
    fields: tuple[str, ...]
    has_expected: bool
    has_price: bool
    unit: str
    index_href: str
    csv_href: str
    json_href: str
    schema_href: str
    empty: str


@dataclass(frozen=True)
class OuterField:
    """One field of a title block: its name, its words, and where they lead."""

    label: str
    links: tuple[Link, ...]
    big: bool = False
    mark: Mark | None = None


@dataclass(frozen=True)
class OuterPartPage:
    """One part. Template ``outer_part.html``. ``fields`` fill the title block, four to a line after the first."""

    head: PageHead
    name: str
    number: str
    fields: tuple[OuterField, ...]
    note: str
    picture: Picture | None
    no_picture: str
    road: GateRail | None
    standing: str
    estimate: str
    fits: Table
    contents: Table | None
    fitting: Table | None
    cautions: tuple[Caution, ...]


@dataclass(frozen=True)
class OuterMatrix:
    """Coverage of one vehicle. ``holes`` has one cell for each body: the years for which there is nothing."""

    matrix: VehicleMatrix
    holes: tuple[MatrixCell, ...]


@dataclass(frozen=True)
class OuterVehiclesPage:
    """Coverage by vehicle, body and years. Template ``outer_vehicles.html``."""

    head: PageHead
    vehicles: tuple[OuterMatrix, ...]
    empty: str


@dataclass(frozen=True)
class OuterMarksPage:
    """What the lines mean. Template ``outer_marks.html``."""

    head: PageHead
    marks: tuple[MarkMeaning, ...]


@dataclass(frozen=True)
class OuterMissingPage:
    """No sheet has this address. Template ``outer_404.html``."""

    head: PageHead
