"""Which parts leave the house in an outer edition, why, and which words that somebody typed go with them."""

from __future__ import annotations

import datetime as dt
from collections.abc import Collection, Iterator, Mapping

from pipeline.findings.finding import Pointer
from pipeline.gates.standing import Standing
from pipeline.model.edition import Edition, LetOut, OuterField
from pipeline.model.part import Interface, Part
from pipeline.model.words import Say
from pipeline.model.workspace import Workspace

Words = tuple[Pointer, str]
"""A text that leaves, and where it stands in its file."""


def is_embargoed(part: Part, today: dt.date) -> bool:
    """True while outsiders must not hear of a part: its day of announcement is to come, or it is confidential without.

    The day itself opens it. Nothing else does: not that it is for sale, and not what an edition asks for.
    """
    return part.announce > today if part.announce is not None else part.confidential


def find_reason(part: Part, standing: Standing, edition: Edition, today: dt.date) -> LetOut | None:
    """Return why a part leaves in an edition; None where it stays. What was given up stays."""
    if is_embargoed(part, today) or standing.is_dropped:
        return None
    holds = {
        LetOut.RELEASED: standing.released,
        LetOut.ANNOUNCED: part.announce is not None,
        LetOut.TOOLING_RELEASED: standing.release is not None and standing.release.say is Say.GO,
        LetOut.OPEN: True,
    }
    return next((reason for reason in LetOut if reason in edition.parts and holds[reason]), None)


def find_leaving(workspace: Workspace, standings: Mapping[str, Standing], edition: Edition) -> dict[str, LetOut]:
    """Return the parts that leave in an edition, in the order of their numbers, each with the reason."""
    families = workspace.catalogues.families.families
    found: dict[str, LetOut] = {}
    for number, part in workspace.parts.items():
        reason = find_reason(part, standings[number], edition, workspace.today) if part.family in families else None
        if reason is not None:
            found[number] = reason
    return found


def list_numbers(part: Part) -> tuple[str, ...]:
    """Return the numbers by which a part is known: its own, and those of its hands."""
    hands = () if part.hands is None else (part.hands.left, part.hands.right)
    return tuple(dict.fromkeys((part.part, *hands)))


def list_deciding(part: Part, interface: Interface) -> tuple[str, ...]:
    """Return the features of a part that decide a gap: those named, and those of its stack."""
    of_stack = [link.feature for link in interface.stack if link.feature is not None]
    return tuple(key for key in dict.fromkeys((*interface.features, *of_stack)) if key in part.features)


def find_leaving_words(part: Part, edition: Edition) -> Iterator[Words]:
    """Yield every text of a record that leaves with it in an edition."""
    says = set(edition.fields)
    yield ("name",), part.name
    if OuterField.HANDS in says and part.hands is not None:
        yield ("hands", "left"), part.hands.left
        yield ("hands", "right"), part.hands.right
    if OuterField.REPLACES in says:
        yield from ((("supersedes", at, "number"), old.number) for at, old in enumerate(part.supersedes))
    if OuterField.MARKING in says and part.marking is not None:
        yield from ((("marking", key), text) for key in ("text", "where") if (text := getattr(part.marking, key)))
    if OuterField.FITTING in says:
        for key, interface in part.interfaces.items():
            yield ("interfaces", key, "what"), interface.what
        deciding = {key for interface in part.interfaces.values() for key in list_deciding(part, interface)}
        yield from ((("features", key, "what"), part.features[key].what) for key in part.features if key in deciding)


def find_shared_words(workspace: Workspace, parts: list[Part], name: str) -> Iterator[tuple[str, Pointer, str]]:
    """Yield every text of the catalogues that leaves with these parts in an edition: file, place, text."""
    shared = workspace.catalogues
    if shared.editions is None:
        return
    edition = shared.editions.editions[name]
    yield "shop", ("name",), shared.shop.name
    if shared.shop.note is not None:
        yield "shop", ("note",), shared.shop.note
    if edition.intro is not None:
        yield "editions", ("editions", name, "intro"), edition.intro
    if OuterField.FAMILY in edition.fields:
        for key in dict.fromkeys(part.family for part in parts):
            yield "families", ("families", key, "name"), shared.families.families[key].name
    for key in dict.fromkeys(fit.vehicle for part in parts for fit in part.fits.values()):
        vehicle = shared.vehicles.vehicles.get(key)
        if vehicle is not None:
            yield "vehicles", ("vehicles", key, "name"), vehicle.name
            for name, body in vehicle.bodies.items():
                yield "vehicles", ("vehicles", key, "bodies", name, "name"), body.name
    for level in dict.fromkeys(part.safety for part in parts):
        found = shared.safety.classes.get(level)
        if found is not None:
            for key in ("name", "meaning", "caution"):
                yield "safety", ("classes", level.value, key), getattr(found, key)
    for key in dict.fromkeys(key for part in parts if part.safety_review for key in part.safety_review.regulations):
        regulation = shared.safety.regulations.get(key)
        if regulation is not None:
            for name in ("system", "number", "subject", "seen"):
                yield "safety", ("regulations", key, name), getattr(regulation, name)
    for key in dict.fromkeys(hazard for part in parts for hazard in find_hazards(part, shared.safety.hazards)[0]):
        yield "safety", ("hazards", key), shared.safety.hazards[key]


def find_hazards(part: Part, known: Collection[str]) -> tuple[tuple[str, ...], bool]:
    """Return what the originals of a part can hold, as keys of shared/safety.yaml, and whether there is anything else.

    A key is found in what somebody wrote of an original: ``cadmium on the inside of the lip`` is cadmium.
    """
    written = [original.hazard.casefold() for original in part.originals.values() if original.hazard is not None]
    found = {text: [key for key in known if key.replace("-", " ") in text.replace("-", " ")] for text in written}
    keys = dict.fromkeys(key for text in written for key in found[text])
    return tuple(keys), not all(found.values())
