"""What a requirement function is given and what it answers."""

from __future__ import annotations

import datetime as dt
from collections.abc import Mapping
from dataclasses import dataclass, field
from enum import StrEnum

from pipeline.lineage.freshness import PartLineage
from pipeline.lineage.nodes import is_provable
from pipeline.model.added import Addable, is_added_after
from pipeline.model.catalogue import Catalogues, NeedParameters
from pipeline.model.part import Feature, Part, Reading, Waiver
from pipeline.model.quantity import LENGTH_UNITS
from pipeline.model.workspace import FileState, Workspace


class Met(StrEnum):
    """Whether a requirement is met."""

    MET = "met"
    WAIVED = "waived"
    STALE = "stale"
    UNMET = "not met"


@dataclass(frozen=True, slots=True)
class Answer:
    """What a requirement function found.

    have, want : what is there and what is wanted, in the unit of the requirement (a count or a share).
    words : one sentence with the figures. todo : what would meet it, each a thing to do.
    evidence : node ids that were counted.
    """

    met: bool
    words: str
    have: float | None = None
    want: float | None = None
    todo: tuple[str, ...] = ()
    evidence: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class Requirement:
    """One requirement of one gate of one part, judged."""

    id: str
    state: Met
    answer: Answer
    waiver: Waiver | None = None


@dataclass(frozen=True, slots=True)
class Bench:
    """All that a requirement function may look at.

    lenient : count evidence that was good and went stale later; used to tell a stale gate from a claim beyond proof.
    until : count only evidence of this day or before; what a decision of that day could have known.
    left_out : features, interfaces and applications that are not looked at, by their place (`interfaces.sill`).
    released : numbers of the parts that are released for sale (for assemblies). once : number -> the day on which its
    last gate was decided, also where it went stale since.
    wants : all requirements of the gate; where a second signature is one, what nobody else saw does not count.
    known : readings that were already found to count on the same terms; feature -> keys of measurements.
    """

    part: Part
    lineage: PartLineage
    workspace: Workspace
    need: NeedParameters
    lenient: bool = False
    released: frozenset[str] = frozenset()
    until: dt.date | None = None
    wants: frozenset[str] = frozenset()
    known: dict[str, tuple[str, ...]] = field(default_factory=dict, compare=False, repr=False)
    once: Mapping[str, dt.date] = field(default_factory=dict)
    left_out: frozenset[str] = frozenset()

    @property
    def catalogues(self) -> Catalogues:
        """The catalogues of the workspace."""
        return self.workspace.catalogues

    @property
    def current(self) -> str | None:
        """The revision that was current on the day that is looked at, None before the first."""
        known = [key for key in self.lineage.order if not self.is_too_late(f"revisions.{key}")]
        return known[-1] if known else None

    @property
    def criticals(self) -> tuple[str, ...]:
        """The critical features, in the order of the record."""
        return tuple(key for key in self.features if self.part.features[key].critical)

    @property
    def features(self) -> tuple[str, ...]:
        """The features that the record had on the day that is looked at, in its order."""
        return self._list_there("features", self.part.features)

    @property
    def interfaces(self) -> tuple[str, ...]:
        """The interfaces that the record had on the day that is looked at, in its order."""
        return self._list_there("interfaces", self.part.interfaces)

    @property
    def applications(self) -> tuple[str, ...]:
        """The applications that the record had on the day that is looked at, in its order."""
        return self._list_there("fits", self.part.fits)

    def _list_there(self, section: str, entries: Mapping[str, Addable]) -> tuple[str, ...]:
        return tuple(
            key
            for key, one in entries.items()
            if not is_added_after(one, self.until) and f"{section}.{key}" not in self.left_out
        )

    def counts(self, node_id: str) -> bool:
        """True when a piece of evidence counts."""
        if self.is_too_late(node_id):
            return False
        return self.lineage.was_good(node_id) if self.lenient else self.lineage.is_fresh(node_id)

    def is_too_late(self, node_id: str) -> bool:
        """True when the evidence is younger than the day that is looked at."""
        node = self.lineage.nodes.get(node_id)
        return self.until is not None and node is not None and node.on is not None and node.on > self.until

    def is_past(self, day: dt.date | None) -> bool:
        """True when something of a day was there on the day that is looked at."""
        return day is not None and (self.until is None or day <= self.until)

    def covers(self, node_id: str, feature: str) -> bool:
        """True when evidence counts for a feature: it covers it, and is good for it."""
        node = self.lineage.nodes.get(node_id)
        if node is None or feature not in node.covers or self.is_too_late(node_id):
            return False
        if self.lenient:
            return self.lineage.was_good(node_id)
        return all(reason.features and feature not in reason.features for reason in self.lineage.reasons[node_id])

    def has_file(self, name: str | None) -> bool:
        """True when a file is named and intact (or, leniently, was so when it was attached)."""
        if name is None:
            return False
        file = self.workspace.files.get((self.part.part, name))
        if file is None:
            return True  # evidence files were not looked at in this run
        was_attached = self.lenient and file.listed is not None
        return file.state in (FileState.INTACT, FileState.REFERENCE) or was_attached

    def can_prove(self, process: str, feature: str) -> bool:
        """True when the process can prove the feature at all."""
        return is_provable(self.catalogues, process, self.part.features[feature])


def find_outside(given: Reading | tuple[float, ...] | None, feature: Feature | None) -> tuple[float, ...]:
    """Return the values outside of a feature's limits, in its unit; none where the units do not go together.

    A value on a limit lies inside, but for the dust of adding decimal numbers (1e-9).
    """
    if given is None or feature is None or feature.limits is None:
        return ()
    limits = feature.limits
    values, unit = (given, feature.unit) if isinstance(given, tuple) else ((given.value,), given.unit or feature.unit)
    if unit != feature.unit and not (unit in LENGTH_UNITS and feature.unit in LENGTH_UNITS):
        return ()
    factor = 1.0 if unit == feature.unit else LENGTH_UNITS[unit] / LENGTH_UNITS[feature.unit]
    return tuple(v * factor for v in values if not limits.is_inside(round(v * factor - feature.nominal, 9)))


def name_list(names: Mapping[str, object] | tuple[str, ...] | list[str], limit: int = 4) -> str:
    """Return names for a sentence.

    >>> name_list(("a", "b", "c"))
    'a, b, c'
    """
    shown = list(names)
    rest = len(shown) - limit
    return ", ".join(shown[:limit]) + (f" and {rest} more" if rest > 0 else "")


def count_words(have: int, want: int, thing: str, done: str) -> str:
    """Return a count in words.

    >>> count_words(3, 5, "critical features", "measured")
    '3 of 5 critical features measured'
    """
    return f"{have} of {want} {thing} {done}"
