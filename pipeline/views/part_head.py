"""The head of a part's page: title block, picture, hold call, cautions."""

from __future__ import annotations

from collections.abc import Iterator

from pipeline.model.catalogue import Car, Catalogues
from pipeline.model.part import Application, Part
from pipeline.model.words import HandRelation, SafetyLevel, Say
from pipeline.portfolio.letting_out import find_reason, is_embargoed
from pipeline.portfolio.portfolio import PartFile
from pipeline.views.addresses import find_vehicle
from pipeline.views.change_cost import render_span
from pipeline.views.reasons import build_reason_line, start_line
from pipeline.views.shapes_marks import Caution, Link, Picture, Run, Tone
from pipeline.views.shapes_part import HoldCall, TitleBlock
from pipeline.views.states import name_body, name_person, name_supplier, name_vehicle
from pipeline.views.wording import word_ago, word_day, word_list

PICTURE_WIDTH, PICTURE_HEIGHT = 640, 400
_HANDS = {
    HandRelation.MIRROR: "left and right, mirrored",
    HandRelation.MIRROR_EXCEPT: "left and right, mirrored except",
    HandRelation.UNIQUE: "left and right, each of its own shape",
}


def build_title_block(file: PartFile) -> TitleBlock:
    """Make the title block."""
    part, catalogues, today = file.part, file.workspace.catalogues, file.workspace.today
    family = catalogues.families.families[part.family]
    last = file.standing.last_evidence
    return TitleBlock(
        name=part.name,
        number=part.part,
        revision=file.lineage.current or "–",
        changed=_find_change_after_proof(file),
        safety=name_safety(catalogues, part.safety),
        fits=tuple(build_fit_link(catalogues, application) for application in part.fits.values()),
        family=family.name,
        hands=_word_hands(part),
        engineer=name_person(catalogues, part.engineer),
        last_evidence="none yet" if last is None else f"{word_day(last)} ({word_ago(last, today)})",
        supersedes=word_list([old.number for old in part.supersedes]),
        confidential=_word_leaving(file),
        synthetic="Synthetic: made by the generator to give the lists their true size." if part.synthetic else "",
    )


def name_safety(catalogues: Catalogues, level: SafetyLevel) -> str:
    """Return a safety class as the shop calls it."""
    found = catalogues.safety.classes.get(level)
    return level.value if found is None else found.name


def build_fit_link(catalogues: Catalogues, fit: Application) -> Link:
    """Return one application as a link to its vehicle: ``Tarnwick Sedge saloon 1951–1955``."""
    vehicle = name_vehicle(catalogues, fit.vehicle)
    return Link(f"{vehicle} {word_body(catalogues, fit)} {fit.years}", find_vehicle(fit.vehicle))


def word_body(catalogues: Catalogues, fit: Application | Car) -> str:
    """Return a body's name beside its vehicle's: a word that both share is said once."""
    body = name_body(catalogues, fit.vehicle, fit.body)
    last = name_vehicle(catalogues, fit.vehicle).rpartition(" ")[2]
    if body.lower().startswith(f"{last.lower()} "):
        body = body[len(last) + 1 :]
    return body[:1].lower() + body[1:]


def word_fits(catalogues: Catalogues, part: Part) -> str:
    """Return what a part fits in few words: ``Tarnwick Sedge saloon, estate 1951–1955; drophead 1956–1959``."""
    by_vehicle: dict[str, dict[str, list[str]]] = {}
    for fit in part.fits.values():
        years = by_vehicle.setdefault(name_vehicle(catalogues, fit.vehicle), {})
        years.setdefault(str(fit.years), []).append(word_body(catalogues, fit))
    return "; ".join(
        f"{vehicle} " + "; ".join(f"{', '.join(bodies)} {span}" for span, bodies in years.items())
        for vehicle, years in by_vehicle.items()
    )


def _word_hands(part: Part) -> str:
    if part.hands is None:
        return "one, no hand"
    words = _HANDS[part.hands.relation]
    if part.hands.except_:
        names = [part.features[key].what if key in part.features else key for key in part.hands.except_]
        words += f" {word_list(names)}"
    return f"{words}: {part.hands.left}, {part.hands.right}"


def _word_leaving(file: PartFile) -> str:
    """Return whether outsiders may know of a part, since when, and in which editions."""
    part, today, told = file.part, file.workspace.today, file.workspace.catalogues.editions
    if is_embargoed(part, today):
        return f"Confidential until {word_day(part.announce)}." if part.announce is not None else "Confidential."
    editions = {} if told is None else told.editions
    names = [name for name, edition in editions.items() if find_reason(part, file.standing, edition, today) is not None]
    if not names:
        return ""
    since = f"Announced on {word_day(part.announce)}; shown" if part.announce is not None else "Shown"
    return f"{since} in the {word_list(names)} {'edition' if len(names) == 1 else 'editions'}."


def _find_change_after_proof(file: PartFile) -> str:
    """Return why the revision carries a triangle: what it changed after a gate was last decided with go."""
    current = file.lineage.current
    if current is None:
        return ""
    revision = file.part.revisions[current]
    decided = [d for d in file.part.decisions if d.say is Say.GO and d.gate is not None and d.on < revision.on]
    if not decided or revision.changed == ():
        return ""
    last = max(decided, key=lambda d: d.on)
    names = [file.part.features[key].what for key in revision.changed or () if key in file.part.features]
    what = word_list(names) if names else "everything"
    return f"revision {current} changed {what} after the {last.gate} gate was decided on {word_day(last.on)}"


def build_picture(file: PartFile, href: str) -> Picture | None:
    """Make the picture where the site has a copy of it at ``href``; None where it has none."""
    if file.part.picture is None or not href:
        return None
    return Picture(href, f"{file.part.name}, {file.number}: drawing or photograph", PICTURE_WIDTH, PICTURE_HEIGHT)


def build_hold(file: PartFile) -> HoldCall | None:
    """Make the hold call: what was ordered, why it went stale, whom to ring, what a change costs today."""
    if not file.standing.hold_calls:
        return None
    call = file.standing.hold_calls[0]
    catalogues = file.workspace.catalogues
    runs: list[Run] = [
        Run(f"The tool {call.tool} was ordered on {word_day(call.ordered)}", Tone.STRONG),
        Run(" and is not cut. "),
    ]
    for reason in call.reasons[:2]:
        runs += [*start_line(build_reason_line(file, reason.words)), Run(". ")]
    maker = name_supplier(catalogues, call.toolmaker) if call.toolmaker else "the toolmaker"
    planned = "" if call.cut_planned is None else f", cutting is planned for {word_day(call.cut_planned)}"
    runs.append(Run(f"Ask {maker} to wait with {call.tool}{planned}.", Tone.STRONG))
    if file.ladder is not None and file.ladder.part.today.total.high > 0:
        cost = f" One change found today costs {render_span(file.ladder.part.today.total)} {catalogues.money.currency}."
        runs.append(Run(cost))
    others = [f"{other.tool}" for other in file.standing.hold_calls[1:]]
    if others:
        runs.append(Run(f" The same holds for {word_list(others)}."))
    return HoldCall("Hold call", tuple(runs))


def build_cautions(file: PartFile) -> tuple[Caution, ...]:
    """Make the cautions: class, regulations to check, originals that hold a hazard, and those of the family."""
    part, safety = file.part, file.workspace.catalogues.safety
    found = safety.classes.get(part.safety)
    is_serious = part.safety is not SafetyLevel.S0
    cautions: list[Caution] = []
    if found is not None:
        general = safety.cautions[0] if is_serious and safety.cautions else ""
        cautions.append(Caution(f"{found.name}.", f"{found.meaning} {found.caution}", general, is_serious))
    cautions += _find_regulations(file)
    cautions += _find_hazards(file)
    family = file.workspace.catalogues.families.families[part.family]
    cautions += [Caution(f"{family.name}.", words) for words in family.cautions]
    if part.note is not None:
        cautions.append(Caution("Note.", part.note))
    return tuple(cautions)


def _find_regulations(file: PartFile) -> Iterator[Caution]:
    part, safety = file.part, file.workspace.catalogues.safety
    if part.safety is SafetyLevel.S0:
        return
    review = part.safety_review
    if review is None:
        words = (
            "No regulation has been looked up and no test plan is written: the measure gate stays shut until both are."
        )
        yield Caution("No safety review.", words, "A competent laboratory or a licensed engineer tests.", True)
        return
    for key in review.regulations:
        found = safety.regulations.get(key)
        if found is not None:
            note = f" {found.note}" if found.note else ""
            title = f"{found.system} {found.number}."
            yield Caution(title, f"{found.subject}.{note}", f"To check with the authority; text {found.seen}.")
    by = name_person(file.workspace.catalogues, review.by)
    yield Caution("Test plan.", f"{review.plan}", f"Reviewed by {by} on {word_day(review.on)}.")


def _find_hazards(file: PartFile) -> Iterator[Caution]:
    known = file.workspace.catalogues.safety.hazards
    by_hazard: dict[str, list[str]] = {}
    for key, original in file.part.originals.items():
        if original.hazard is not None:
            by_hazard.setdefault(original.hazard, []).append(key)
    for hazard, keys in by_hazard.items():
        words = known.get(hazard.replace(" ", "-"), "Ask how to handle it before it is opened, ground or heated.")
        yield Caution(f"{word_list(keys)}: {hazard}.", words, "Local rules decide.", True)
