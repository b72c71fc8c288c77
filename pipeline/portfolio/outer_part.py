"""What may leave the house of one part and of the whole: nothing here leads back to a record, a file or the workspace.

The views of outer editions know these types and no other. They are filled by naming what is let out (`editions.py`),
never by taking things out of a record.
"""

from __future__ import annotations

import datetime as dt
from dataclasses import dataclass
from decimal import Decimal
from enum import Enum, StrEnum


class OuterState(StrEnum):
    """What a customer can do about a part."""

    FOR_SALE = "for sale"
    COMING = "coming"
    PAUSED = "paused"


class OuterEvent(StrEnum):
    """What outsiders are told as news of a part."""

    ANNOUNCED = "announced"
    FOR_SALE = "for sale"


class OuterStage(Enum):
    """What is being done about a part that is coming, in order."""

    PLANNED = 0
    MEASURING = 1
    DRAWING = 2
    SAMPLES = 3
    TRYING = 4
    PREPARING = 5
    TOOLING = 6
    DONE = 7


class OuterTrialState(StrEnum):
    """What is known of a part on one body."""

    TRIED = "tried, and it fits"
    AGAIN = "to be tried again"
    CHANGING = "tried, and being changed"
    NOT_YET = "not tried yet"


@dataclass(frozen=True, slots=True)
class OuterFit:
    """A vehicle, a body and the years that the part fits, by their names."""

    vehicle: str
    body: str
    first: int
    last: int


@dataclass(frozen=True, slots=True)
class OuterTrial:
    """One body on one hand (empty: no hand)."""

    fit: OuterFit
    hand: str
    state: OuterTrialState


@dataclass(frozen=True, slots=True)
class OuterHands:
    """The numbers of the left and the right part."""

    left: str
    right: str


@dataclass(frozen=True, slots=True)
class OuterPicture:
    """The picture as it lies in the outer site: its name there, its size in pixels."""

    name: str
    width: int
    height: int


@dataclass(frozen=True, slots=True)
class OuterPrice:
    """A price of a piece. ``planned`` : the part is not for sale yet."""

    amount: Decimal
    currency: str
    planned: bool


@dataclass(frozen=True, slots=True)
class OuterMarking:
    """What is marked on the part: a serial, a date or a maker's mark, its text and its place."""

    kind: str
    text: str
    where: str


@dataclass(frozen=True, slots=True)
class OuterComponent:
    """A part of a kit, itself let out."""

    number: str
    name: str
    count: int


@dataclass(frozen=True, slots=True)
class OuterFeature:
    """A dimension that concerns fitting; limits are deviations from the nominal, in the same unit."""

    what: str
    nominal: float
    lower: float | None
    upper: float | None
    unit: str


@dataclass(frozen=True, slots=True)
class OuterGap:
    """A gap (positive) or an interference (negative) at which the part meets the vehicle, and what decides it."""

    what: str
    lower: float | None
    upper: float | None
    unit: str
    features: tuple[OuterFeature, ...]


@dataclass(frozen=True, slots=True)
class OuterSafety:
    """The safety class: its letter, name, meaning and caution; ``serious`` where a failure can hurt somebody."""

    level: str
    name: str
    meaning: str
    caution: str
    serious: bool


@dataclass(frozen=True, slots=True)
class OuterRegulation:
    """A published requirement to check, and whether its text was seen or is from memory."""

    system: str
    number: str
    subject: str
    seen: str


@dataclass(frozen=True, slots=True)
class OuterHazard:
    """What originals of the part can hold, and the usual care; both empty: something that has no entry."""

    name: str
    care: str


@dataclass(frozen=True, slots=True)
class OuterNews:
    """One piece of news of a part, and its day."""

    event: OuterEvent
    on: dt.date


@dataclass(frozen=True, slots=True)
class OuterPart:
    """All that leaves the house of one part. What an edition does not say is empty, None or ().

    expected : the quarter in which it is likely to be for sale, e.g. ``2027-Q3``. announced : the day on which it was
    announced, where one is stated. news : that it was announced, and that it is for sale, each with its day.
    """

    number: str
    name: str
    state: OuterState
    fits: tuple[OuterFit, ...]
    safety: OuterSafety
    regulations: tuple[OuterRegulation, ...]
    hazards: tuple[OuterHazard, ...]
    synthetic: bool
    announced: dt.date | None
    family: str = ""
    hands: OuterHands | None = None
    replaces: tuple[str, ...] = ()
    picture: OuterPicture | None = None
    marking: OuterMarking | None = None
    stage: OuterStage | None = None
    expected: str = ""
    price: OuterPrice | None = None
    contents: tuple[OuterComponent, ...] = ()
    fitting: tuple[OuterGap, ...] = ()
    trials: tuple[OuterTrial, ...] = ()
    news: tuple[OuterNews, ...] = ()


@dataclass(frozen=True, slots=True)
class OuterBody:
    """A body of a vehicle and the years it was built."""

    name: str
    first: int
    last: int


@dataclass(frozen=True, slots=True)
class OuterVehicle:
    """A vehicle for which something is let out. ``anchor`` is made from its name and is its place on a page."""

    name: str
    anchor: str
    bodies: tuple[OuterBody, ...]


@dataclass(frozen=True, slots=True)
class OuterShop:
    """The maker, the edition and its day. ``says`` are the words of the fields that this edition says of a part."""

    maker: str
    note: str
    edition: str
    intro: str
    today: dt.date
    says: frozenset[str]


@dataclass(frozen=True, slots=True)
class OuterCatalogue:
    """One edition: the maker, the parts in the order of their numbers, the vehicles in the order of the catalogue."""

    shop: OuterShop
    parts: tuple[OuterPart, ...]
    vehicles: tuple[OuterVehicle, ...]
