"""Where everything lies in an outer site: addresses from its root."""

from __future__ import annotations

from urllib.parse import quote

HOME, VEHICLES, MARKS, NOT_FOUND = "index.html", "vehicles.html", "marks.html", "404.html"
PARTS, PARTS_DATA, PARTS_CSV = "parts/index.html", "data/parts.js", "data/parts.csv"
PARTS_JSON, PARTS_SCHEMA = "data/parts.json", "data/parts.schema.json"
FEED = "feed.xml"


def find_part_page(number: str) -> str:
    """Return the address of a part's page.

    >>> find_part_page("TW-104")
    'parts/TW-104.html'
    """
    return f"parts/{quote(number)}.html"


def find_picture(name: str) -> str:
    """Return the address of a picture; its name is made from the part's number."""
    return f"pictures/{quote(name)}"


def find_vehicle(anchor: str) -> str:
    """Return the address of a vehicle on the page of vehicles."""
    return f"{VEHICLES}#{quote(anchor)}"


def find_vehicle_csv(anchor: str) -> str:
    """Return the address of a vehicle's table."""
    return f"data/{quote(anchor)}.csv"
