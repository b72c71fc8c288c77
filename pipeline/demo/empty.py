"""An empty workspace: catalogues with common practice in them, and places to fill in."""

from __future__ import annotations

import json
import tempfile
from pathlib import Path

from pipeline.demo.source import read_demo_files, write_tree
from pipeline.reading.schema import SCHEMA_NAMES, build_schema

_COMMON = ("families", "gates", "tool_kinds", "processes", "safety")
"""Catalogues that hold common practice rather than facts of one shop."""


def _quote(text: str) -> str:
    return json.dumps(text, ensure_ascii=False)


def _build_own(name: str, currency: str) -> dict[str, str]:
    return {
        "shared/shop.yaml": f"# The maker. Days: how far ahead the review looks.\nname: {_quote(name)}\n"
        "review_every_days: 7\nquote_warning_days: 30\n"
        "# Common practice, no source: how far a part may be from the temperature recorded (C), the most that a gauge may\n"
        "# take of a tolerance, and the Cpk that a run of pieces should reach.\n"
        "temperature_within: 1.0\ngauge_share: 0.3\ncapability_wanted: 1.33\n",
        "shared/people.yaml": "# Who may do and sign what. Roles: lead, engineer, owner, buyer, workshop, laboratory,\n"
        "# licensed engineer. Nobody signs off their own fit check or first article.\npeople:\n"
        "  lead:     {name: The lead, roles: [lead]}\n  engineer: {name: An engineer, roles: [engineer]}\n"
        "  owner:    {name: The owner, roles: [owner, buyer]}\n",
        "shared/vehicles.yaml": "# Vehicles that parts fit, and `cars` = the real ones on which parts are tried.\nvehicles:\n"
        "  example: {name: Example (replace it), bodies: {saloon: {name: Saloon, years: 1950-1955}}}\n"
        "cars:\n  car-1: {vehicle: example, body: saloon, year: 1952}\n",
        "shared/suppliers.yaml": "# Who quotes, cuts, plates or tests. `accredited`: the scope of a laboratory.\nsuppliers: {}\n",
        "shared/resources.yaml": "# What parts queue for, and what they are measured with (calibration from a day to a day).\n"
        "resources:\n  arm: {name: Measuring arm, hours_per_week: 20, used_in: [measure, tooling]}\n"
        "instruments:\n  caliper: {name: Caliper 150 mm, mpe_mm: 0.03, calibrated: 2026-01-01, due: 2026-12-31, "
        "measures: [size, distance, thickness]}\n",
        "shared/editions.yaml": "# What leaves the house: `pipeline build --edition public`. A confidential part never leaves\n"
        "# before its `announce` day; number, name, fits and cautions are said in every edition.\n"
        "editions:\n  partner: {parts: [announced, released], fields: [family, hands, replaces, picture, marking, stage, trials]}\n"
        "  public:  {parts: [announced, released], fields: [family, hands, replaces, picture, marking, stage]}\n",
        "shared/money.yaml": f"# Amounts in {currency}. Rates: one unit of another currency in {currency}, with day and source.\n"
        f"currency: {currency}\nhourly: {{engineer: 75, buyer: 60}}\nrates: []\nbudgets: {{}}\n",
    }


def build_empty_files(name: str, currency: str) -> dict[str, bytes]:
    """Return the files of an empty workspace: path -> bytes."""
    files = read_demo_files(("shared", "site"))
    kept = {path: content for path, content in files.items() if not path.startswith("shared/")}
    kept |= {f"shared/{one}.yaml": files[f"shared/{one}.yaml"] for one in _COMMON}
    kept |= {path: text.encode("utf-8") for path, text in _build_own(name, currency).items()}
    kept["projects/.gitkeep"] = b""
    for one in SCHEMA_NAMES:
        kept[f"schemas/{one}.schema.json"] = (json.dumps(build_schema(one), indent=2) + "\n").encode("utf-8")
    return kept


def write_empty_workspace(folder: Path, name: str, currency: str) -> None:
    """Write an empty workspace into a new or empty folder, whole or not at all. Raises OSError."""
    folder.parent.mkdir(parents=True, exist_ok=True)
    with tempfile.TemporaryDirectory(prefix=f".{folder.name}-", dir=folder.parent) as place:
        made = Path(place) / "workspace"
        write_tree(made, build_empty_files(name, currency))
        if folder.exists():
            folder.rmdir()
        made.replace(folder)
