"""Everything that a record points at: is it there?"""

from __future__ import annotations

import difflib
from collections.abc import Callable, Iterable, Iterator
from dataclasses import dataclass

from pipeline.findings.finding import Finding, Location, Pointer
from pipeline.findings.rule import Rule
from pipeline.findings.rules import links as rules
from pipeline.model.catalogue import Catalogues
from pipeline.model.part import Part
from pipeline.model.words import Hand
from pipeline.model.workspace import Workspace

Locate = Callable[[str, Pointer], Location]


MAX_SUGGESTIONS, MAX_SEARCHED = 50, 5_000
"""Looking for the nearest name takes a while: only for the first findings of a record, in lists of usual length."""


@dataclass(frozen=True, slots=True)
class Link:
    """A value that must be one of `known`."""

    pointer: Pointer
    value: str
    known: Iterable[str]
    rule: Rule
    kind: str


def check_references(
    part: Part, workspace: Workspace, locate: Locate, mentioned: frozenset[str] = frozenset()
) -> list[Finding]:
    """Return a finding for each thing that a record names and that is not there.

    mentioned : ids that a broken record holds in entries that could not be understood; they are not missing.
    """
    path = f"projects/{part.part}/part.yaml"
    findings: list[Finding] = []
    for link in _find_links(part, workspace):
        known = link.known if isinstance(link.known, (frozenset, dict)) else set(link.known)
        if link.value in known or link.value in mentioned:
            continue
        is_quick = len(findings) < MAX_SUGGESTIONS and len(known) <= MAX_SEARCHED
        close = difflib.get_close_matches(link.value, sorted(known), n=1, cutoff=0.6) if is_quick else []
        message = f'there is no {link.kind} "{link.value}"'
        fix = f"did you mean `{close[0]}`? Else: {link.rule.fix}" if close else None
        place = locate(path, link.pointer)
        findings.append(link.rule.build_finding(place, message, fix=fix, record=part.part, pointer=link.pointer))
    for rule, pointer, message in () if findings else _find_mismatches(part, workspace.catalogues):
        place = locate(path, pointer)
        findings.append(rule.build_finding(place, message, record=part.part, pointer=pointer))
    return findings


def _find_links(part: Part, workspace: Workspace) -> Iterator[Link]:
    catalogues = workspace.catalogues
    families, people = catalogues.families.families, catalogues.people.people
    yield Link(("family",), part.family, families, rules.UNKNOWN_FAMILY, "family")
    yield Link(("engineer",), part.engineer, people, rules.UNKNOWN_PERSON, "person")
    yield from _find_application_links(part, catalogues)
    yield from _find_people_links(part, people)
    yield from _find_feature_links(part)
    yield from _find_evidence_links(part)
    yield from _find_catalogue_links(part, catalogues)
    yield from _find_part_links(part, workspace)
    yield from _find_tool_links(part, workspace)
    requirements = {r for gate in catalogues.gates.gates.values() for r in gate.needs}
    for index, waiver in enumerate(part.waivers):
        yield Link(("waivers", index, "of"), waiver.of, requirements, rules.UNKNOWN_REQUIREMENT, "requirement")
    if part.safety_review is not None:
        for index, name in enumerate(part.safety_review.regulations):
            pointer: Pointer = ("safety_review", "regulations", index)
            yield Link(pointer, name, catalogues.safety.regulations, rules.UNKNOWN_REGULATION, "regulation")
    rates = {catalogues.money.currency, *(rate.money for rate in catalogues.money.rates)}
    for pointer, currency in _find_currencies(part):
        yield Link(pointer, currency, rates, rules.NO_RATE, "dated rate for the currency")


def _find_application_links(part: Part, catalogues: Catalogues) -> Iterator[Link]:
    for key, fit in part.fits.items():
        vehicles = catalogues.vehicles.vehicles
        yield Link(("fits", key, "vehicle"), fit.vehicle, vehicles, rules.UNKNOWN_VEHICLE, "vehicle")
        if fit.vehicle in vehicles:
            bodies = vehicles[fit.vehicle].bodies
            yield Link(("fits", key, "body"), fit.body, bodies, rules.UNKNOWN_VEHICLE, f"body of the {fit.vehicle}")


def _find_people_links(part: Part, people: Iterable[str]) -> Iterator[Link]:
    def link(pointer: Pointer, value: str | None) -> Iterator[Link]:
        if value is not None:
            yield Link(pointer, value, people, rules.UNKNOWN_PERSON, "person")

    for section in (
        "measurements", "revisions", "fit_checks", "tests", "first_articles", "gauge_studies", "sample_runs", "changes",
    ):  # fmt: skip
        for key, entry in getattr(part, section).items():
            yield from link((section, key, "by"), entry.by)
            yield from link((section, key, "seen_by"), getattr(entry, "seen_by", None))
    for key, revision in part.revisions.items():
        for index, statement in enumerate(revision.no_effect):
            yield from link(("revisions", key, "no_effect", index, "by"), statement.by)
            yield from link(("revisions", key, "no_effect", index, "seen_by"), statement.seen_by)
    for index, decision in enumerate(part.decisions):
        yield from link(("decisions", index, "by"), decision.by)
        yield from link(("decisions", index, "second"), decision.second)
    for index, waiver in enumerate(part.waivers):
        yield from link(("waivers", index, "by"), waiver.by)
        yield from link(("waivers", index, "risk"), waiver.risk)
    if part.safety_review is not None:
        yield from link(("safety_review", "by"), part.safety_review.by)


def _find_feature_links(part: Part) -> Iterator[Link]:
    def links(pointer: Pointer, values: Iterable[str] | None) -> Iterator[Link]:
        for index, value in enumerate(values or ()):
            yield Link((*pointer, index), value, part.features, rules.UNKNOWN_FEATURE, "feature")

    for section, field in (
        ("revisions", "changed"), ("prototypes", "covers"), ("fit_checks", "covers"), ("tests", "covers"),
        ("quotes", "covers"), ("tools", "forms"), ("tools", "checks"), ("first_articles", "covers"),
        ("changes", "features"), ("interfaces", "features"),
    ):  # fmt: skip
        for key, entry in getattr(part, section).items():
            yield from links((section, key, field), getattr(entry, field))
    for section in ("measurements", "tests", "first_articles"):
        for key, entry in getattr(part, section).items():
            for name in entry.gives:
                yield Link((section, key, "gives", name), name, part.features, rules.UNKNOWN_FEATURE, "feature")
    for section in ("gauge_studies", "sample_runs"):
        for key, entry in getattr(part, section).items():
            yield Link((section, key, "feature"), entry.feature, part.features, rules.UNKNOWN_FEATURE, "feature")
    for index, operation in enumerate(part.route):
        for field in ("diameter", "height", "wall") if operation.draws is not None else ():
            name = getattr(operation.draws, field)
            if name is not None:
                yield Link(("route", index, "draws", field), name, part.features, rules.UNKNOWN_FEATURE, "feature")
    for key, feature in part.features.items():
        if feature.coating is not None:
            pointer: Pointer = ("features", key, "coating")
            yield Link(pointer, feature.coating, part.features, rules.UNKNOWN_FEATURE, "feature")
    for key, interface in part.interfaces.items():
        for index, contributor in enumerate(interface.stack):
            for field in ("feature", "coating"):
                name = getattr(contributor, field)
                if name is not None:
                    pointer = ("interfaces", key, "stack", index, field)
                    yield Link(pointer, name, part.features, rules.UNKNOWN_FEATURE, "feature")
    if part.hands is not None:
        yield from links(("hands", "except"), part.hands.except_)


def _find_evidence_links(part: Part) -> Iterator[Link]:
    rule = rules.UNKNOWN_EVIDENCE
    samples = {**part.prototypes, **part.first_articles}
    for key, m in part.measurements.items():
        yield Link(("measurements", key, "of"), m.of, part.originals, rule, "original")
        if m.replaces is not None:
            yield Link(("measurements", key, "replaces"), m.replaces, part.measurements, rule, "measurement")
    for key, revision in part.revisions.items():
        for index, name in enumerate(revision.from_):
            yield Link(("revisions", key, "from", index), name, part.measurements, rule, "measurement")
        known = {*samples, *part.fit_checks, *part.tests, *part.quotes, *part.tools, *part.sample_runs}
        for index, statement in enumerate(revision.no_effect):
            for place, name in enumerate(statement.keeps):
                yield Link(("revisions", key, "no_effect", index, "keeps", place), name, known, rule, "evidence")
    for section in ("prototypes", "quotes", "first_articles", "sample_runs"):
        for key, entry in getattr(part, section).items():
            yield Link((section, key, "of"), entry.of, part.revisions, rule, "revision")
    for key, check in part.fit_checks.items():
        yield Link(("fit_checks", key, "with"), check.with_, samples, rule, "prototype or first article")
        yield Link(("fit_checks", key, "fits"), check.fits, part.fits, rule, "application")
        for name in check.gaps:
            yield Link(("fit_checks", key, "gaps", name), name, part.interfaces, rules.UNKNOWN_INTERFACE, "interface")
    for key, sight in part.sight_lines.items():
        if sight.fits is not None:
            yield Link(("sight_lines", key, "fits"), sight.fits, part.fits, rule, "application")
    for key, test in part.tests.items():
        yield Link(("tests", key, "of"), test.of, {*samples, *part.revisions}, rule, "sample or revision")
    for key, tool in part.tools.items():
        if tool.of is not None:
            yield Link(("tools", key, "of"), tool.of, part.revisions, rule, "revision")
    for index, decision in enumerate(part.decisions):
        if decision.choose is not None:
            yield Link(("decisions", index, "choose"), decision.choose, part.quotes, rule, "quote")
    for key, change in part.changes.items():
        if change.fixed_in is not None:
            yield Link(("changes", key, "fixed_in"), change.fixed_in, part.revisions, rule, "revision")


def _find_catalogue_links(part: Part, catalogues: Catalogues) -> Iterator[Link]:
    rule = rules.UNKNOWN_CATALOGUE_ENTRY
    suppliers, resources = catalogues.suppliers.suppliers, catalogues.resources.resources
    processes, kinds = catalogues.processes.processes, catalogues.tool_kinds.kinds
    for section in ("measurements", "gauge_studies", "sample_runs"):
        for key, m in getattr(part, section).items():
            instruments = catalogues.resources.instruments
            yield Link((section, key, "with"), m.with_, instruments, rule, "instrument in shared/resources.yaml")
    for key, p in part.prototypes.items():
        yield Link(("prototypes", key, "process"), p.process, processes, rule, "process in shared/processes.yaml")
    for key, t in part.tests.items():
        yield Link(("tests", key, "kind"), t.kind, processes, rule, "process in shared/processes.yaml")
        if t.at is not None:
            yield Link(("tests", key, "at"), t.at, suppliers, rules.UNKNOWN_SUPPLIER, "supplier")
    for key, f in part.fit_checks.items():
        yield Link(("fit_checks", key, "car"), f.car, catalogues.vehicles.cars, rule, "car in shared/vehicles.yaml")
    for key, q in part.quotes.items():
        yield Link(("quotes", key, "from"), q.from_, suppliers, rules.UNKNOWN_SUPPLIER, "supplier")
    for key, tool in part.tools.items():
        yield Link(("tools", key, "kind"), tool.kind, kinds, rule, "tool kind in shared/tool_kinds.yaml")
        if tool.by is not None:
            yield Link(("tools", key, "by"), tool.by, suppliers, rules.UNKNOWN_SUPPLIER, "supplier")
    for index, operation in enumerate(part.route):
        if operation.at is not None:
            known = suppliers if operation.outside else {**resources, **suppliers}
            kind = "supplier" if operation.outside else "resource or supplier"
            yield Link(("route", index, "at"), operation.at, known, rules.UNKNOWN_SUPPLIER, kind)
    for name, component in part.made_of.items():
        for index, supplier in enumerate(component.from_):
            pointer: Pointer = ("made_of", name, "from", index)
            yield Link(pointer, supplier, suppliers, rules.UNKNOWN_SUPPLIER, "supplier")


def _find_part_links(part: Part, workspace: Workspace) -> Iterator[Link]:
    named = {component.part for component in part.made_of.values() if component.part is not None}
    named |= {interface.meets for interface in part.interfaces.values() if interface.meets is not None}
    named |= set() if part.demand is None else set(part.demand.takes_from)
    known = frozenset(number for number in named if number in workspace.parts or number in workspace.broken)
    if known != named:  # the whole list, to say which was meant
        known = frozenset(workspace.parts) | frozenset(workspace.broken)
    for key, component in part.made_of.items():
        if component.part is not None:
            yield Link(("made_of", key, "part"), component.part, known, rules.UNKNOWN_PART, "part")
    for key, interface in part.interfaces.items():
        if interface.meets is not None:
            yield Link(("interfaces", key, "meets"), interface.meets, known, rules.UNKNOWN_PART, "part")
    if part.demand is not None:
        for number in part.demand.takes_from:
            yield Link(("demand", "takes_from", number), number, known, rules.UNKNOWN_PART, "part")


def _find_shared_tools(part: Part, workspace: Workspace) -> frozenset[str]:
    """Return the tools of other parts that a part names; where one is not there, all, to say which was meant."""
    named = {*part.uses_tools, *(other for tool in part.tools.values() for other in tool.made_to_fit if "/" in other)}
    broken = {use for use in part.uses_tools if use.split("/")[0] in workspace.broken}
    known = {use for use in named if use in broken or _is_tool(use, workspace)}
    if known != named:
        known |= {f"{number}/{tool}" for number, other in workspace.parts.items() for tool in other.tools}
    return frozenset(known)


def _is_tool(use: str, workspace: Workspace) -> bool:
    number, _, tool = use.partition("/")
    return number in workspace.parts and tool in workspace.parts[number].tools


def _find_tool_links(part: Part, workspace: Workspace) -> Iterator[Link]:
    shared = _find_shared_tools(part, workspace)
    own = {*part.tools, *(use.split("/")[1] for use in part.uses_tools)}
    for index, use in enumerate(part.uses_tools):
        yield Link(("uses_tools", index), use, shared, rules.UNKNOWN_TOOL, "tool")
    for key, tool in part.tools.items():
        for index, other in enumerate(tool.made_to_fit):
            known = shared if "/" in other else own
            yield Link(("tools", key, "made_to_fit", index), other, known, rules.UNKNOWN_TOOL, "tool")
    for key, quote in part.quotes.items():
        for name in quote.tools:
            yield Link(("quotes", key, "tools", name), name, own, rules.UNKNOWN_TOOL, "tool")
    for section in ("first_articles", "sample_runs"):
        for key, entry in getattr(part, section).items():
            for index, name in enumerate(entry.tools):
                yield Link((section, key, "tools", index), name, own, rules.UNKNOWN_TOOL, "tool")
    for key, change in part.changes.items():
        if change.tool is not None:
            yield Link(("changes", key, "tool"), change.tool, own, rules.UNKNOWN_TOOL, "tool")
    for index, operation in enumerate(part.route):
        for place, name in enumerate(operation.uses):
            yield Link(("route", index, "uses", place), name, own, rules.UNKNOWN_TOOL, "tool")


def _find_currencies(part: Part) -> Iterator[tuple[Pointer, str]]:
    for key, quote in part.quotes.items():
        yield ("quotes", key, "money"), quote.money
    for key, tool in part.tools.items():
        if tool.price is not None:
            yield ("tools", key, "price"), tool.price.currency
    if part.demand is not None:
        yield ("demand", "price"), part.demand.price.currency
        if part.demand.cost is not None:
            yield ("demand", "cost"), part.demand.cost.currency
    for index, waiver in enumerate(part.waivers):
        yield ("waivers", index, "exposure"), waiver.exposure.currency
    for key, change in part.changes.items():
        for field in ("predicted", "actual"):
            money = getattr(change, field)
            if money is not None:
                yield ("changes", key, field), money.currency


def _find_mismatches(part: Part, catalogues: Catalogues) -> Iterator[tuple[Rule, Pointer, str]]:
    for key, fit in part.fits.items():
        vehicle = catalogues.vehicles.vehicles.get(fit.vehicle)
        body = None if vehicle is None else vehicle.bodies.get(fit.body)
        if body is not None and (fit.years.first < body.years.first or fit.years.last > body.years.last):
            yield rules.YEARS_OUTSIDE, ("fits", key, "years"), f"{fit.years} is not within {body.years}"
    for key, check in part.fit_checks.items():
        if part.hands is not None and check.hand is Hand.NONE:
            yield rules.HAND_MISSING, ("fit_checks", key), f"fit check {key} does not say which hand was tried"
        car, application = catalogues.vehicles.cars.get(check.car), part.fits.get(check.fits)
        if car is None or application is None:
            continue
        is_same = car.vehicle == application.vehicle and car.body == application.body
        if not is_same or not application.years.first <= car.year <= application.years.last:
            message = f"{check.car} is a {car.vehicle} {car.body} of {car.year}, not {check.fits}"
            yield rules.WRONG_CAR, ("fit_checks", key, "car"), message
    seen: dict[str, str] = {}
    for section in ("prototypes", "first_articles", "fit_checks", "tests", "quotes"):
        for key in getattr(part, section):
            if key in seen:
                yield rules.ID_TWICE, (section, key), f'"{key}" is used in {seen[key]} too'
            seen[key] = section


def check_catalogues(catalogues: Catalogues, locate: Locate) -> list[Finding]:
    """Return a finding for each place where the catalogues do not agree with each other."""
    proofs, kinds = catalogues.processes.proofs, catalogues.tool_kinds.kinds
    wanted: list[tuple[str, Pointer, str, Iterable[str], str]] = []
    for kind, proof in catalogues.processes.needs.items():
        wanted.append(("processes", ("needs", kind.value), proof, proofs, "proof"))
    for key, process in catalogues.processes.processes.items():
        for index, proof in enumerate(process.proves):
            wanted.append(("processes", ("processes", key, "proves", index), proof, proofs, "proof"))
    for key, family in catalogues.families.families.items():
        for index, name in enumerate(family.tool_kinds):
            wanted.append(("families", ("families", key, "tool_kinds", index), name, kinds, "tool kind"))
    vehicles = catalogues.vehicles.vehicles
    for key, car in catalogues.vehicles.cars.items():
        bodies = vehicles[car.vehicle].bodies if car.vehicle in vehicles else ()
        wanted.append(("vehicles", ("cars", key, "vehicle"), car.vehicle, vehicles, "vehicle"))
        if bodies:
            wanted.append(("vehicles", ("cars", key, "body"), car.body, bodies, "body"))
    findings = []
    for file, pointer, value, known, kind_word in wanted:
        if value not in known:
            path = f"shared/{file}.yaml"
            message = f'there is no {kind_word} "{value}"'
            findings.append(rules.UNKNOWN_PROOF.build_finding(locate(path, pointer), message, pointer=pointer))
    return findings
