"""How outer editions word what they say of a part: fits, state, quarter, price, cautions."""

from __future__ import annotations

from collections.abc import Iterable, Iterator

from pipeline.portfolio.outer_part import (
    OuterFit,
    OuterMarking,
    OuterPart,
    OuterPicture,
    OuterPrice,
    OuterStage,
    OuterState,
)
from pipeline.views.outer_addresses import find_picture
from pipeline.views.shapes_marks import Caution, Mark, Picture
from pipeline.views.wording import word_money

STATE_MARKS = {OuterState.FOR_SALE: Mark.PROVEN, OuterState.COMING: Mark.PLANNED, OuterState.PAUSED: Mark.HELD}
STAGE_WORDS = {
    OuterStage.PLANNED: "it is planned",
    OuterStage.MEASURING: "originals are being measured",
    OuterStage.DRAWING: "it is being drawn",
    OuterStage.SAMPLES: "samples are being made",
    OuterStage.TRYING: "samples are being tried on vehicles",
    OuterStage.PREPARING: "production is being prepared",
    OuterStage.TOOLING: "the tools are being made and proven",
    OuterStage.DONE: "for sale",
}
_MARKINGS = {"serial": "a serial number", "date": "a date mark", "maker": "a maker's mark"}


def word_years(first: int, last: int) -> str:
    """Return a span of years.

    >>> word_years(1951, 1955), word_years(1953, 1953)
    ('1951–1955', '1953')
    """
    return str(first) if first == last else f"{first}–{last}"


def word_body(vehicle: str, body: str) -> str:
    """Return a body's name beside its vehicle's: a word that both share is said once.

    >>> word_body("Tarnwick Sedge Six", "Six saloon")
    'saloon'
    """
    last = vehicle.rpartition(" ")[2]
    short = body[len(last) + 1 :] if body.lower().startswith(f"{last.lower()} ") else body
    return short[:1].lower() + short[1:]


def word_fits(fits: Iterable[OuterFit]) -> str:
    """Return what a part fits in few words: ``Tarnwick Sedge saloon, estate 1951–1955; drophead 1956–1959``."""
    by_vehicle: dict[str, dict[str, list[str]]] = {}
    for fit in fits:
        spans = by_vehicle.setdefault(fit.vehicle, {})
        spans.setdefault(word_years(fit.first, fit.last), []).append(word_body(fit.vehicle, fit.body))
    return "; ".join(
        f"{vehicle} " + "; ".join(f"{', '.join(bodies)} {span}" for span, bodies in spans.items())
        for vehicle, spans in by_vehicle.items()
    )


def word_quarter(quarter: str) -> str:
    """Return a quarter as a page writes it; nothing for nothing.

    >>> word_quarter("2027-Q3")
    'Q3 2027'
    """
    year, _, number = quarter.partition("-")
    return f"{number} {year}" if quarter else ""


def word_state(part: OuterPart) -> str:
    """Return the state of a part with the quarter where one is said: ``coming, Q3 2027``."""
    if part.state is OuterState.COMING and part.expected:
        return f"coming, {word_quarter(part.expected)}"
    return "on hold" if part.state is OuterState.PAUSED else part.state.value


def word_price(price: OuterPrice | None) -> str:
    """Return a price; of a part that is not for sale yet it is a plan."""
    if price is None:
        return ""
    return f"{'planned ' if price.planned else ''}{word_money(price.amount, price.currency)}"


def list_numbers(part: OuterPart) -> tuple[str, ...]:
    """Return the numbers by which a part is asked for: its own, those of its hands, those that it replaces."""
    hands = () if part.hands is None else (part.hands.left, part.hands.right)
    return tuple(dict.fromkeys((part.number, *hands, *part.replaces)))


def build_picture(part: OuterPart, picture: OuterPicture | None) -> Picture | None:
    """Return the picture of a part for a page."""
    if picture is None:
        return None
    words = f"{part.name}, {part.number}: drawing or photograph"
    return Picture(find_picture(picture.name), words, picture.width, picture.height)


def build_cautions(part: OuterPart) -> tuple[Caution, ...]:
    """Return the cautions of a part; no edition leaves one of them out."""
    return tuple(_find_cautions(part))


def _find_cautions(part: OuterPart) -> Iterator[Caution]:
    serious = part.safety.serious
    yield Caution(
        "A part that fits is not thereby a safe part.",
        "Fit, function and strength are proven by different evidence.",
        "Local codes and licensed practice decide what may be fitted and used.",
        serious,
    )
    if part.safety.name:
        yield Caution(f"{part.safety.name}.", f"{part.safety.meaning} {part.safety.caution}".strip(), "", serious)
    for found in part.regulations:
        check = f"To check with the authority where the vehicle is used; text {found.seen}."
        yield Caution(f"{found.system} {found.number}.", f"{found.subject}.", check)
    for hazard in part.hazards:
        title = f"Originals can hold {hazard.name}." if hazard.name else "Originals can hold something harmful."
        care = hazard.care or "Ask how to handle one before it is opened, ground or heated."
        yield Caution(title, care, "Local rules decide.", True)
    if part.marking is not None:
        yield _word_marking(part.marking)


def _word_marking(marking: OuterMarking) -> Caution:
    """Say what is marked on the part, and whose marks and designs are."""
    said = ", ".join(one for one in (marking.text, marking.where) if one)
    words = "Marks and designs belong to their holders; a mark does not say that a part is an original."
    title = f"It carries {_MARKINGS.get(marking.kind, 'a mark')}{': ' + said if said else ''}."
    return Caution(title, words)
