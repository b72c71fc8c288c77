"""A gate policy that wants everything, so that each requirement can be looked at by itself."""

from __future__ import annotations

from pathlib import Path

from pipeline.findings.sample import SAMPLE_SHARED
from pipeline.gates.judgement import Requirement
from pipeline.gates.standing import REQUIREMENTS, Standing
from pipeline.model.words import Gate
from pipeline.portfolio.check import check_workspace

OF_GATE = {gate: [r for r in REQUIREMENTS if r.startswith(gate.value.replace(" ", "-") + ".")] for gate in Gate}
GATE_OF = {requirement: gate for gate, requirements in OF_GATE.items() for requirement in requirements}


def write_policy(*, cannot: str = "", safety: str = "", **needs: str) -> dict[str, str | None]:
    """Return shared/gates.yaml with every requirement; `measure_originals="{least: 2}"` sets the figures of one."""
    wanted = {name: needs.get(name.replace(".", "_").replace("-", "_"), "{}") for name in GATE_OF}
    lines = ["gates:\n"]
    for gate, names in OF_GATE.items():
        lines.append(
            f"  {gate}:\n    decided_by: [lead]\n    second_signature: {str(gate is Gate.TOOLING).lower()}\n    needs:\n"
        )
        lines += [f"      {name}: {wanted[name]}\n" for name in names]
    lines.append("release: {decided_by: [owner], needs: {quote.chosen: {}}}\n")
    lines.append(f"cannot_be_waived: [{cannot}]\n{safety}")
    return {"shared/gates.yaml": "".join(lines)}


def write_family(more: str) -> dict[str, str | None]:
    """Return shared/families.yaml with more keys of the family."""
    return {"shared/families.yaml": SAMPLE_SHARED["shared/families.yaml"] + f"    {more}\n"}


def find_standing(root: Path, number: str = "SD-100") -> Standing:
    """Return where a part of a workspace on disk stands."""
    return check_workspace(root).standings[number]


def find_requirement(root: Path, name: str) -> Requirement:
    """Return one judged requirement of the sample."""
    gate = find_standing(root).gates[GATE_OF[name]]
    return next(r for r in gate.requirements if r.id == name)
