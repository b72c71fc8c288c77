"""What a mirror of a record shows from the driver's eye points, against the published figure that it names."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

from pipeline.fit.mirror_geometry import GlassShape, Mirror, compute_aim
from pipeline.fit.sight_line import SightLineResult, check_sight_line
from pipeline.fit.sight_requirements import SIGHT_REQUIREMENTS, find_sight_requirement
from pipeline.model.part import Part, SightLine


@dataclass(frozen=True)
class SightFound:
    """One sight line of a record. result : None with the reason in `problem`."""

    key: str
    entry: SightLine
    result: SightLineResult | None
    problem: str = ""

    @property
    def fault(self) -> str:
        """What is wrong with it: it falls short of the figure, or cannot be reckoned; empty where neither is."""
        if self.result is None:
            return self.problem
        return self.result.words[0] if self.result.meets is False else ""


def check_sight_lines(part: Part) -> Iterator[SightFound]:
    """Yield what every mirror of a part shows; nothing that a record says raises."""
    for key, entry in part.sight_lines.items():
        requirement = find_sight_requirement(entry.asks)
        if requirement is None:
            known = ", ".join(one.key for one in SIGHT_REQUIREMENTS)
            yield SightFound(key, entry, None, f'"{entry.asks}" is no published figure known here; there is {known}')
            continue
        try:
            normal = compute_aim(entry.eyes[0], entry.glass, entry.aim_at)
            shape = GlassShape(entry.shape)
            mirror = Mirror(entry.glass, normal, entry.width, entry.height, shape, entry.radius)
            result = check_sight_line(mirror, entry.eyes, requirement, side_mm=entry.side, rear_mm=entry.rear)
        except ValueError as error:
            yield SightFound(key, entry, None, str(error))
            continue
        yield SightFound(key, entry, result)
