"""Where everything lies in the site: addresses from its root, and the anchors of one part's page."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from urllib.parse import quote

from pipeline.model.part import Part
from pipeline.model.words import Gate

HOME, REVIEW, VEHICLES, MARKS = "index.html", "review.html", "vehicles.html", "marks.html"
FLOW, BUYING = "flow.html", "buying.html"
REGISTERS, SUPPLIERS, RESOURCES, TOOLS = "registers.html", "suppliers.html", "resources.html", "tools.html"
PARTS, RULES, METHODS = "parts/index.html", "rules/index.html", "methods/index.html"
SPEND, SPEND_DATA, SPEND_RELEASES = "spend.html", "data/spend.js", "spend/releases.csv"
PARTS_DATA, PARTS_CSV = "data/parts.js", "data/parts.csv"
HOME_CSV, REVIEW_CSV = "data/needs.csv", "data/review.csv"
FEED, CALENDAR = "feed.xml", "calendar/all.ics"
PORTFOLIO, PORTFOLIO_SCHEMA = "data/portfolio.json", "data/portfolio.schema.json"

_SECTIONS = (
    "main", "find", "hatch", "gates", "evidence", "lineage", "lineage-drawing", "features", "coverage", "interfaces",
    "quotes", "tools", "history", "findings", "impact", "assembly", "changes", "route", "business",
    "forecast", "errors-left", "another-loop", "worth",
)  # fmt: skip


def find_part_page(number: str, anchor: str = "") -> str:
    """Return the address of a part's page.

    >>> find_part_page("TW-101", "F1")
    'parts/TW-101.html#F1'
    """
    return f"parts/{quote(number)}.html" + (f"#{quote(anchor)}" if anchor else "")


def find_part_file(number: str, path: str) -> str:
    """Return the address of a file that lies in a part's folder; ``path`` is relative to that folder."""
    return f"parts/{quote(number)}/{quote(path)}"


def find_evidence_copy(number: str, path: str) -> str:
    """Return the address of the copy of a file that a record names; ``path`` is relative to the part's folder.

    Tables that the site makes lie beside the copies: what does not lie in evidence/ gets a folder of its own, so that
    no file of a record has the name of such a table.

    >>> find_evidence_copy("TW-101", "evidence/o1.csv"), find_evidence_copy("TW-101", "features.csv")
    ('parts/TW-101/evidence/o1.csv', 'parts/TW-101/record/features.csv')
    """
    return find_part_file(number, path if path.startswith("evidence/") else f"record/{path}")


def find_calendar(person: str) -> str:
    """Return the address of a person's calendar.

    >>> find_calendar("mara")
    'calendar/for-mara.ics'
    """
    return f"calendar/for-{quote(person)}.ics"


def find_rule_page(rule: str) -> str:
    """Return the address of a rule's page."""
    return f"rules/{quote(rule)}.html"


def find_method_page(method: str, anchor: str = "") -> str:
    """Return the address of a method's page."""
    return f"methods/{quote(method)}.html" + (f"#{quote(anchor)}" if anchor else "")


def find_vehicle(vehicle: str) -> str:
    """Return the address of a vehicle on the page of vehicles."""
    return f"{VEHICLES}#{quote(name_vehicle_anchor(vehicle))}"


def find_supplier(supplier: str) -> str:
    """Return the address of a supplier in the register of suppliers."""
    return f"{SUPPLIERS}#{quote(name_supplier_anchor(supplier))}"


def name_supplier_anchor(supplier: str) -> str:
    """Return the anchor of a supplier; it cannot meet an id of the page's frame."""
    return f"supplier-{supplier}"


def name_vehicle_anchor(vehicle: str) -> str:
    """Return the anchor of a vehicle; it cannot meet an id of the page's frame."""
    return f"vehicle-{vehicle}"


def name_gate_anchor(gate: Gate) -> str:
    """Return the anchor of a gate on a part's page."""
    return f"gate-{gate.value.replace(' ', '-')}"


class Anchors:
    """Gives every piece of evidence of one page an id of its own: its key, or section and key where two would meet.

    copies : address in the site of each file that it has a copy of, by the record's own path; None where that is not
    known yet.
    """

    def __init__(self, part: Part, node_ids: Iterable[str], copies: Mapping[str, str] | None = None) -> None:
        self.number, self._copies = part.part, copies
        self._ids = _choose_ids(part, tuple(node_ids))

    def find(self, node_id: str) -> str:
        """Return the id of a piece of evidence; tools stand in the table of tools."""
        return self._ids[node_id]

    def has(self, node_id: str) -> bool:
        """True when the evidence stands on this page."""
        return node_id in self._ids

    def link(self, node_id: str) -> str:
        """Return the address of a piece of evidence, on this page or on another part's."""
        other, _, rest = node_id.rpartition("/")
        if other:
            return find_part_page(other, "tools" if rest.startswith("tools.") else "evidence")
        return find_part_page(self.number, self._ids.get(node_id, "evidence"))

    def link_copy(self, path: str) -> str:
        """Return the address of the copy of a file, empty where the site has none: it is not there, or too large."""
        return find_evidence_copy(self.number, path) if self._copies is None else self._copies.get(path, "")


def _choose_ids(part: Part, node_ids: tuple[str, ...]) -> Mapping[str, str]:
    taken = {*_SECTIONS, *(f"feature-{key}" for key in part.features), *(name_gate_anchor(gate) for gate in Gate)}
    taken |= {f"interface-{key}" for key in part.interfaces}
    ids: dict[str, str] = {}
    for node_id in node_ids:
        section, _, key = node_id.partition(".")
        wanted = f"tool-{key}" if section == "tools" else key
        if wanted in taken or (wanted.startswith(("m-", "c")) and len(wanted) > 9):
            wanted = f"{section.replace('_', '-')}-{key}"
        while wanted in taken:
            wanted += "-"
        taken.add(wanted)
        ids[node_id] = wanted
    return ids
