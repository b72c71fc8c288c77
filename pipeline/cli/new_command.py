"""`pipeline new`: the record of a part, from nothing or from a sibling."""

from __future__ import annotations

from collections.abc import Callable
from typing import TYPE_CHECKING, Any

import click

from pipeline.cli.asking import Asker
from pipeline.cli.attach_studies import take_person
from pipeline.cli.bench_step import Desk, add_bench_options, run_step

if TYPE_CHECKING:
    from pipeline.portfolio.near import Near


@click.command("new")
@click.argument("number", required=False)
@click.option("--name", metavar="TEXT", help="What the part is called.")
@click.option("--family", metavar="ID", help="Process family (shared/families.yaml).")
@click.option("--safety", metavar="S0|S1|S2", help="Safety class: S0 cosmetic, S1 control or vision, S2 critical.")
@click.option("--engineer", metavar="ID", help="Who develops it; you, by the e-mail of git, if left out.")
@click.option("--fits", multiple=True, metavar="ID=VEHICLE/BODY/YEARS", help="An application; may stand several times.")
@click.option("--feature", "features", multiple=True, metavar="LINE",
              help='A feature: "id | what | kind | nominal | limits | unit | critical".')  # fmt: skip
@click.option("--interface", "interfaces", multiple=True, metavar="LINE",
              help='Where it meets something: "id | what | gap limits in mm | features".')  # fmt: skip
@click.option("--from", "sibling", metavar="PART", help="Take over what a sibling has in common with it.")
@click.option("--hand", type=click.Choice(["left", "right"]), help="With --from: this is the sibling's other hand.")
@click.option("--years", metavar="YEARS", help="With --from: other years, e.g. 1956-1959.")
@click.option("--hands", metavar="LEFT,RIGHT,RELATION", help="Numbers of both hands and mirror or unique.")
@click.option("--note", metavar="TEXT", help="A note.")
@add_bench_options
def command(number: str | None, desk: Desk, **flags: Any) -> int:
    """Start the record projects/NUMBER/part.yaml. Only what a record must have is asked for.

    With --from, features, interfaces, marking, route and demand are copied as they stand, comments and all; what was
    measured, tried, quoted and decided is not: it proves nothing about another part.

    \b
    pipeline new TW-230 --name "Horn ring" --family turned --safety S0 --fits saloon=sedge/saloon/1952-1959 --yes
    pipeline new TW-231 --from TW-230 --hand right
    """
    from pipeline.cli.answers import parse_part_number, parse_text

    asker = desk.build_asker()
    chosen = asker.take(number, "NUMBER", "Part number", _parse_free_number(desk, parse_part_number))
    near = _take_empty(desk, str(chosen) if chosen else "NEW")
    sibling = _take_sibling(desk, flags["sibling"], flags["hand"], flags["years"])
    safety = near.catalogues.safety.classes
    known = sibling.part if sibling is not None else None
    values = {
        "name": asker.take(flags["name"], "--name", "Name", parse_text, default=None if known is None else known.name),
        "family": asker.take_choice(
            flags["family"], "--family", "Process family", near.catalogues.families.families,
            default=None if known is None else known.family,
        ),
        "safety": asker.take_choice(
            flags["safety"], "--safety", "Safety class", [level.value for level in safety],
            default=None if known is None else known.safety.value,
        ),
        "engineer": take_person(asker, near, flags["engineer"], "--engineer", "Engineer"),
    }  # fmt: skip
    fits = _take_fits(asker, near, flags["fits"], sibling, flags["years"])
    hands = _take_hands(flags["hands"])
    features, interfaces = _take_features(asker, flags, ask=sibling is None)
    asker.refuse_missing()
    note = flags["note"] or _describe_sibling(sibling, flags["hand"], flags["years"])
    extra = {"fits": fits, "hands": hands, "features": features, "interfaces": interfaces, "note": note}
    return run_step(desk, "new", str(chosen), lambda n: _build_draft(n, values, extra, sibling), near)


def _parse_free_number(desk: Desk, parse: Callable[[str], str]) -> Callable[[str], str]:
    """Return a parser that refuses a number that is taken, on any system."""
    from pipeline.reading.workspace import find_record_folders
    from pipeline.writing.names import find_name_fault, fold_name

    folders = find_record_folders(desk.root)

    def check(text: str) -> str:
        found = parse(text)
        fault = find_name_fault(found)
        if fault is not None:
            raise ValueError(fault)
        twin = next((one for one in folders if fold_name(one) == fold_name(found)), None)
        if twin is not None and (desk.root / "projects" / twin / "part.yaml").exists():
            raise ValueError(f"projects/{twin} is there already")
        return found

    return check


def _take_empty(desk: Desk, number: str) -> Near:
    from pipeline.findings.report import render_text
    from pipeline.portfolio.near import read_near

    near, problems = read_near(desk.root, number, desk.today)
    if near is None:
        click.echo(render_text(problems), err=True)
        raise click.exceptions.Exit(1)
    return near


def _take_sibling(desk: Desk, number: str | None, hand: str | None, years: str | None) -> Near | None:
    from pipeline.cli.answers import parse_years
    from pipeline.cli.bench_step import take_near

    if number is None:
        if hand or years:
            raise click.UsageError("--hand and --years go with --from PART.")
        return None
    if years is not None:
        try:
            parse_years(years)
        except ValueError as error:
            raise click.UsageError(f"--years: {error}") from None
    return take_near(desk, number)


def _take_fits(
    asker: Asker, near: Near, given: tuple[str, ...], sibling: Near | None, years: str | None
) -> dict[str, dict[str, str]]:
    """Return the applications: those of the flags, of the sibling, or of the answers."""
    from pipeline.cli.answers import parse_key, parse_years
    from pipeline.portfolio.starting import find_sibling_fits

    if given:
        return dict(_parse_fit(near, one) for one in given)
    if sibling is not None and sibling.part is not None:
        return find_sibling_fits(sibling.part.fits, years)
    if not asker.interactive:
        asker.missing.append("--fits")
        return {}
    fits: dict[str, dict[str, str]] = {}
    vehicles = near.catalogues.vehicles.vehicles
    while not fits or asker.confirm("Another application?"):
        vehicle = asker.take_choice(None, "--fits", "Vehicle", vehicles)
        bodies = vehicles[str(vehicle)].bodies
        body = asker.take_choice(
            None, "--fits", "Body", bodies, default=next(iter(bodies)) if len(bodies) == 1 else None
        )
        built = bodies[str(body)].years
        span = asker.take(None, "--fits", "Years", parse_years, default=f"{built.first}-{built.last}")
        key = asker.take(None, "--fits", "Short id of this application", parse_key, default=str(body))
        fits[str(key)] = {"vehicle": str(vehicle), "body": str(body), "years": str(span)}
    return fits


def _parse_fit(near: Near, text: str) -> tuple[str, dict[str, str]]:
    from pipeline.cli.answers import parse_key, parse_years
    from pipeline.cli.asking import choose

    key, mark, rest = text.partition("=")
    parts = rest.split("/")
    if not mark or len(parts) != 3:
        raise click.UsageError(f"--fits: {text!r} is not id=vehicle/body/years, e.g. saloon=sedge/saloon/1952-1955.")
    vehicles = near.catalogues.vehicles.vehicles
    try:
        vehicle = choose(parts[0], list(vehicles))
        body = choose(parts[1], list(vehicles[vehicle].bodies))
        return parse_key(key), {"vehicle": vehicle, "body": body, "years": parse_years(parts[2])}
    except ValueError as error:
        raise click.UsageError(f"--fits: {error}.") from None


def _take_hands(text: str | None) -> dict[str, str] | None:
    from pipeline.cli.answers import parse_part_number

    if text is None:
        return None
    parts = [one.strip() for one in text.split(",")]
    if len(parts) != 3 or parts[2] not in ("mirror", "unique"):
        raise click.UsageError("--hands: write the left number, the right number, and mirror or unique.")
    try:
        return {"left": parse_part_number(parts[0]), "right": parse_part_number(parts[1]), "relation": parts[2]}
    except ValueError as error:
        raise click.UsageError(f"--hands: {error}.") from None


def _take_features(asker: Asker, flags: dict[str, Any], *, ask: bool) -> tuple[dict[str, Any], dict[str, Any]]:
    """Return features and interfaces: of the flags, or line by line from a person until an empty line."""
    from pipeline.model.quantity import UNITS
    from pipeline.model.words import FeatureKind
    from pipeline.portfolio.starting import parse_feature_line, parse_interface_line

    kinds = [kind.value for kind in FeatureKind]

    def parse_feature(text: str) -> tuple[str, dict[str, Any]]:
        return parse_feature_line(text, kinds, UNITS)

    features = _take_lines(
        asker, flags["features"], "--feature", "Feature: id | what | kind | nominal | limits | unit | critical",
        parse_feature, ask=ask,
    )  # fmt: skip

    def parse_interface(text: str) -> tuple[str, dict[str, Any]]:
        return parse_interface_line(text, list(features))

    interfaces = _take_lines(
        asker, flags["interfaces"], "--interface", "Interface: id | what | gap limits | features", parse_interface,
        ask=ask and bool(features),
    )  # fmt: skip
    return features, interfaces


def _take_lines(
    asker: Asker, given: tuple[str, ...], flag: str, question: str, parse: Callable[[str], Any], *, ask: bool
) -> dict[str, Any]:
    found: dict[str, Any] = {}
    for text in given:
        entry = asker.take(text, flag, question, parse)
        if entry is not None:
            found[entry[0]] = entry[1]
    while ask and not given and asker.interactive:
        entry = asker.take(None, flag, question, parse, optional=True)
        if entry is None:
            break
        found[entry[0]] = entry[1]
    return found


def _describe_sibling(sibling: Near | None, hand: str | None, years: str | None) -> str | None:
    if sibling is None:
        return None
    what = f"{hand} hand of {sibling.number}" if hand else f"like {sibling.number}"
    return f"{what}{f', for {years}' if years else ''}; features taken over, nothing measured yet"


def _build_draft(near: Near, values: dict[str, Any], extra: dict[str, Any], sibling: Near | None) -> Any:
    from pipeline.portfolio.proposal import Draft
    from pipeline.portfolio.starting import Beginning, copy_sections, render_beginning

    if near.content is not None:
        raise ValueError(f"{near.path} is there already")
    beginning = Beginning(near.number, opened=near.today, **values, **extra)
    copied = copy_sections(sibling.text) if sibling is not None else None
    text = render_beginning(beginning, copied)
    return Draft(lambda _: text, ((),), f"new record: {beginning.name}")
