"""The first page of an outer edition: what is there, what is coming, and for which vehicles."""

from __future__ import annotations

import datetime as dt

from pipeline.portfolio.outer_part import OuterCatalogue, OuterPart, OuterState
from pipeline.views.outer_addresses import HOME, PARTS, VEHICLES, find_part_page, find_vehicle
from pipeline.views.outer_shapes import OuterHomePage, OuterPlate, OuterShelf, OuterVehicleLine
from pipeline.views.outer_words import STATE_MARKS, build_picture, word_fits, word_price, word_state
from pipeline.views.shapes_marks import Link, Mark
from pipeline.views.shapes_site import PageHead, Tally
from pipeline.views.wording import word_count, word_day

PLATES = 12
"""So many plates stand on a shelf of the first page; the list has the others."""


def build_home_page(catalogue: OuterCatalogue) -> OuterHomePage:
    """Make the first page."""
    today = catalogue.shop.today
    there = [part for part in catalogue.parts if part.state is OuterState.FOR_SALE]
    coming = [part for part in catalogue.parts if part.state is not OuterState.FOR_SALE]
    shelves = (
        _build_shelf("there", "To be had now", "for sale", there, "Nothing is for sale yet.", today),
        _build_shelf("coming", "Coming", "coming", coming, "Nothing is announced that is not for sale already.", today),
    )
    tallies = (
        Tally(str(len(there)), "to be had now", f"{HOME}#there", Mark.PROVEN),
        Tally(str(len(coming)), "coming", f"{HOME}#coming", Mark.PLANNED),
        Tally(str(len(catalogue.vehicles)), "vehicle" if len(catalogue.vehicles) == 1 else "vehicles", VEHICLES),
    )
    head = PageHead("Reproduction parts", HOME, "What is to be had, what is coming, and for which vehicles.", "home")
    lines = tuple(
        OuterVehicleLine(Link(one.name, find_vehicle(one.anchor)), _summarise(one.name, catalogue.parts))
        for one in catalogue.vehicles
    )
    return OuterHomePage(head, catalogue.shop.intro, tallies, shelves, lines)


def _summarise(vehicle: str, parts: tuple[OuterPart, ...]) -> str:
    mine = [part for part in parts if any(fit.vehicle == vehicle for fit in part.fits)]
    there = sum(part.state is OuterState.FOR_SALE for part in mine)
    return f"{there} to be had, {len(mine) - there} coming"


def _build_shelf(anchor: str, title: str, state: str, parts: list[OuterPart], empty: str, today: dt.date) -> OuterShelf:
    """Newest announcement first; what was never announced with a day follows by number."""
    ordered = sorted(parts, key=lambda part: (-part.announced.toordinal() if part.announced else 0, part.number))
    shown = tuple(_build_plate(part, today) for part in ordered[:PLATES])
    rest = len(parts) - len(shown)
    more = Link(f"and {rest} more", f"{PARTS}?state={state.replace(' ', '+')}") if rest else None
    return OuterShelf(anchor, title, word_count(len(parts), "part") if parts else "", shown, more, empty)


def _build_plate(part: OuterPart, today: dt.date) -> OuterPlate:
    day = part.announced
    return OuterPlate(
        number=part.number,
        name=part.name,
        href=find_part_page(part.number),
        fits=word_fits(part.fits),
        mark=STATE_MARKS[part.state],
        state=word_state(part),
        note="" if day is None else f"announced {word_day(day, year=day.year != today.year)}",
        price=word_price(part.price),
        picture=build_picture(part, part.picture),
    )
