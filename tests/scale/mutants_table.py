"""The tally of mutation testing, as the table of DEVELOPERS.md, and the survivors that change nothing.

`survivors.toml` holds, for each module, the changes that no test can notice and why: `change` as the command prints it.
"""

from __future__ import annotations

import re
import tomllib
from dataclasses import dataclass
from pathlib import Path

PAGE = Path(__file__).parents[2] / "DEVELOPERS.md"
REASONS = Path(__file__).with_name("survivors.toml")
HEAD = "| module | can be made | tried | killed | survivors, and why they change nothing |\n| --- | ---: | ---: | ---: | --- |"


@dataclass(frozen=True)
class Tally:
    """What became of the mutants of one module; `survivors` in the words of `Mutant.what`."""

    module: str
    made: int
    tried: int
    killed: int
    survivors: tuple[str, ...]


def read_reasons(module: str) -> dict[str, str]:
    """Return change -> why no test can notice it."""
    return {one["change"]: one["why"] for one in tomllib.loads(REASONS.read_text("utf-8")).get(module, [])}


def explain(tally: Tally) -> tuple[dict[str, str], list[str]]:
    """Return survivor -> reason for those that have one, and the survivors that have none."""
    reasons = read_reasons(tally.module)
    told = {change: reasons[change] for change in tally.survivors if change in reasons}
    return told, [change for change in tally.survivors if change not in reasons]


def render_row(tally: Tally) -> str:
    """Return the line of one module."""
    told, open_ = explain(tally)
    cells = [f"`{_show(change)}`: {why}" for change, why in told.items()]
    cells += [f"**`{_show(change)}`**" for change in open_]
    words = "; ".join(cells).replace("|", "\\|") or "none"
    return f"| `{tally.module}` | {tally.made} | {tally.tried} | {tally.killed} | {words} |"


def _show(change: str) -> str:
    """Return a change as it fits into a cell."""
    return change.replace("`", "'") if len(change) <= 120 else change[:119].replace("`", "'") + "…"


def write_tally(tally: Tally) -> None:
    """Put the line of one module into the table, in the order of the modules."""
    text = PAGE.read_text("utf-8")
    found = re.search(r"<!-- mutants -->\n(.*?)<!-- /mutants -->", text, re.S)
    assert found is not None, "DEVELOPERS.md has no place for the table"
    rows = {line.split("`")[1]: line for line in found.group(1).splitlines() if line.startswith("| `")}
    rows[tally.module] = render_row(tally)
    table = "\n".join([HEAD, *(rows[module] for module in sorted(rows))])
    PAGE.write_text(
        text[: found.start()] + f"<!-- mutants -->\n{table}\n<!-- /mutants -->" + text[found.end() :], "utf-8"
    )
