"""`pipeline attach`: evidence into a record, with its hash."""

from __future__ import annotations

import datetime as dt
from collections.abc import Callable, Mapping
from functools import partial
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from pipeline.cli.asking import Asker
from pipeline.cli.attach_studies import Entry, list_tools, take_gauge_study, take_person, take_sample_run
from pipeline.cli.bench_step import Desk, add_bench_options, run_step, take_near

if TYPE_CHECKING:
    from pipeline.portfolio.near import Near
    from pipeline.portfolio.proposal import Attachment, Draft

KINDS = {
    "measurement": "measurements",
    "prototype": "prototypes",
    "test": "tests",
    "first-article": "first_articles",
    "gauge-study": "gauge_studies",
    "sample-run": "sample_runs",
    "picture": "picture",
    "safety-review": "safety_review",
}
"""What a file can be evidence of, and the section where it goes. Revisions, fit checks and quotes have commands of
their own."""


@click.command("attach")
@click.argument("part")
@click.argument("files", nargs=-1, metavar="FILE...", type=click.Path(exists=True, dir_okay=False, path_type=Path))
@click.option("--kind", metavar="KIND", help=f"What it is evidence of: {', '.join(KINDS)}.")
@click.option("--to", "to", metavar="ID", help="An entry that is there, e.g. M1 or F2: only name the file there.")
@click.option("--as", "field", type=click.Choice(["file", "settings"]), default="file", help="Under which key of --to.")
@click.option("--of", multiple=True, metavar="ID", help="What it was made from: an original, a revision, a sample.")
@click.option("--condition", help="Condition of an original that is new: nos, used, restored, reproduction.")
@click.option("--from", "origin", metavar="TEXT", help="Where an original that is new came from.")
@click.option("--hand", help="left, right or none.")
@click.option("--gives", multiple=True, metavar="F=V,...", help="Readings, e.g. rim_od=112.36,boss_pitch=41.92.")
@click.option("--covers", metavar="F,...", help="Features that it shows.")
@click.option("--feature", metavar="F", help="Feature of a gauge study or a sample run.")
@click.option("--subgroup", metavar="N", help="Pieces of a sample run that were taken together each time.")
@click.option("--by", metavar="ID", help="Who made it.")
@click.option("--seen-by", metavar="ID", help="Who looked at it besides.")
@click.option("--with", "instrument", metavar="ID", help="Instrument; its calibration is checked against the day.")
@click.option("--at", metavar="TEXT", help="Temperature of a measurement (21.5 C), or laboratory of a test.")
@click.option("--process", metavar="ID", help="How a prototype was built.")
@click.option("--test", metavar="ID", help="Which test was made.")
@click.option("--result", help="good, bad or open.")
@click.option("--valid-to", metavar="DAY", help="Last day on which a test counts.")
@click.option("--tools", metavar="ID,...", help="Tools that made a first article.")
@click.option("--pieces", metavar="N", help="Finished pieces of every cavity.")
@click.option("--finished/--unfinished", default=None, help="Plated, painted, hardened: as they will be sold.")
@click.option("--settings", type=click.Path(exists=True, dir_okay=False, path_type=Path), help="Process settings.")
@click.option("--coated", is_flag=True, help="The prototype is plated or painted.")
@click.option("--coating-off", is_flag=True, help="The coating was taken off before measuring.")
@click.option("--replaces", metavar="ID", help="The measurement that this one replaces.")
@click.option("--regulations", metavar="ID,...", help="Regulations that a safety review looked at.")
@click.option("--plan", metavar="TEXT", help="Test plan of a safety review.")
@click.option("--hours", metavar="N", help="Hours that it took.")
@click.option("--cost", metavar="N", help="What it cost, in workspace currency.")
@click.option("--reference", is_flag=True, help="Leave the file where it is; keep its address and hash.")
@click.option("--uri", metavar="URI", help="Address of the file, with --reference; file:... of FILE, if left out.")
@click.option("--sha256", metavar="HEX", help="Hash of a file that is not at hand, with --reference and --uri.")
@click.option("--size", metavar="BYTES", help="Its size, with --sha256.")
@add_bench_options
def command(part: str, files: tuple[Path, ...], desk: Desk, **flags: Any) -> int:
    """Attach FILE... to PART: copy it into the evidence folder, list its hash, and record what it is evidence of.

    A file with the same bytes is refused. Several files make one entry each; --of and --gives may stand once for all or
    once for each file, in their order.

    \b
    pipeline attach TW-101 o1.csv --kind measurement --of O1 --with arm-1 --at "21 C" --gives rim_od=112.36 --by mara
    pipeline attach TW-101 photo.jpg --to F2
    pipeline attach TW-101 scan.e57 --kind prototype --of A --process machined-sample --reference
    """
    near = take_near(desk, part)
    _refuse_wrong_flags(files, flags)
    asker = desk.build_asker()
    if flags["to"] is not None:
        target = _find_target(near, flags["to"], flags["field"])
        asker.refuse_missing()
        return run_step(desk, "attach", part, lambda n: _name_file(n, target, files, flags), near)
    kind = asker.take_choice(flags["kind"], "--kind", "What is it evidence of", KINDS)
    asker.refuse_missing() if kind is None else None
    many = max(len(files), 1)
    entries = [_take_entry(asker, near, str(kind), _pick(flags, place, many), desk) for place in range(many)]
    asker.refuse_missing()
    return run_step(desk, "attach", part, lambda n: build_entries(n, str(kind), files, entries, flags), near)


def _refuse_wrong_flags(files: tuple[Path, ...], flags: Mapping[str, Any]) -> None:
    from pipeline.reading.large_files import is_uri

    if not flags["reference"] and (flags["uri"] or flags["sha256"]):
        raise click.UsageError("--uri and --sha256 go with --reference.")
    if flags["uri"] and not is_uri(flags["uri"]):
        raise click.UsageError(f"--uri: {flags['uri']!r} is no address; write a scheme and a path, without blanks.")
    if flags["sha256"] and (len(flags["sha256"]) != 64 or not str(flags["size"] or "").isdigit() or not flags["uri"]):
        raise click.UsageError("--sha256 takes 64 hex digits and goes with --uri and --size.")
    if flags["reference"] and len(files) > 1 and flags["uri"]:
        raise click.UsageError("--uri names one file; attach them one by one.")
    for name in ("of", "gives"):
        if len(flags[name]) not in (0, 1, max(len(files), 1)):
            raise click.UsageError(f"--{name} stands {len(flags[name])} times for {len(files)} files.")


def _pick(flags: Mapping[str, Any], place: int, many: int) -> dict[str, Any]:
    """Return the flags for one of several files."""
    picked = dict(flags)
    for name in ("of", "gives"):
        values = flags[name]
        picked[name] = None if not values else values[place] if len(values) == many else values[0]
    return picked


def _take_entry(asker: Asker, near: Near, kind: str, flags: Mapping[str, Any], desk: Desk) -> Entry:
    takers: dict[str, Callable[[Asker, Near, Mapping[str, Any], dt.date], Entry]] = {
        "measurement": _take_measurement,
        "prototype": _take_prototype,
        "test": _take_test,
        "first-article": take_first_article,
        "gauge-study": take_gauge_study,
        "sample-run": take_sample_run,
        "picture": lambda *_: Entry("picture", {}),
        "safety-review": _take_review,
    }
    return takers[kind](asker, near, flags, desk.day or near.today)


def _take_measurement(asker: Asker, near: Near, flags: Mapping[str, Any], day: dt.date) -> Entry:
    from pipeline.cli.answers import parse_key, parse_not_negative, parse_number_pairs, parse_temperature
    from pipeline.model.words import Condition, Hand

    part = near.part
    assert part is not None
    known = ", ".join(part.originals) or "none yet"
    of = asker.take(
        flags["of"], "--of", f"Which original was measured (there is {known}; a new id adds one)", parse_key
    )
    original = None
    if of is not None and of not in part.originals:
        condition = asker.take_choice(
            flags["condition"], "--condition", f"Condition of {of}", [c.value for c in Condition]
        )
        origin = asker.take(flags["origin"], "--from", f"Where {of} came from", _parse_text())
        hand = asker.take_choice(flags["hand"], "--hand", "Hand", [h.value for h in Hand], optional=True)
        fields = {"condition": condition, "hand": hand if hand != "none" else None, "from": origin}
        original = (of, {key: value for key, value in fields.items() if value is not None})
    by = take_person(asker, near, flags["by"], "--by", "Who measured")
    instruments = near.catalogues.resources.instruments
    instrument = asker.take_choice(flags["instrument"], "--with", "With which instrument", instruments)
    at = asker.take(flags["at"], "--at", "At which temperature (21.5 C)", parse_temperature)
    gives = asker.take(
        flags["gives"], "--gives", "Readings (feature=value,...)", parse_number_pairs(part.features, "feature")
    )
    hours = asker.take(flags["hours"], "--hours", "Hours it took", parse_not_negative, optional=True)
    entry = {
        "of": of, "on": day, "by": by, "with": instrument, "at": at, "file": ..., "gives": gives,
        "coating_off": flags["coating_off"] or None, "replaces": flags["replaces"], "hours": hours,
    }  # fmt: skip
    return Entry("measurements", entry, original)


def _parse_text() -> Callable[[str], str]:
    from pipeline.cli.answers import parse_text

    return parse_text


def _take_prototype(asker: Asker, near: Near, flags: Mapping[str, Any], day: dt.date) -> Entry:
    from pipeline.cli.answers import parse_not_negative, parse_some_of
    from pipeline.model.words import Hand

    part, lineage = near.part, near.lineage
    assert part is not None and lineage is not None
    of = asker.take_choice(flags["of"], "--of", "Of which revision", part.revisions, default=lineage.current)
    process = asker.take_choice(flags["process"], "--process", "By which process", near.catalogues.processes.processes)
    by = take_person(asker, near, flags["by"], "--by", "Who made it")
    hand = None
    if part.hands is not None:
        hand = asker.take_choice(flags["hand"], "--hand", "Hand", [h.value for h in Hand], default="none")
    covers = asker.take(
        flags["covers"], "--covers", "Features it shows (all that the process can prove, if left out)",
        parse_some_of(part.features, "feature"), optional=True,
    )  # fmt: skip
    cost = asker.take(flags["cost"], "--cost", "What it cost", parse_not_negative, optional=True)
    hours = asker.take(flags["hours"], "--hours", "Hours it took", parse_not_negative, optional=True)
    entry = {
        "of": of, "process": process, "on": day, "by": by, "hand": hand if hand != "none" else None,
        "coated": flags["coated"] or None, "cost": cost, "hours": hours, "covers": covers, "file": ...,
    }  # fmt: skip
    return Entry("prototypes", entry)


def _take_test(asker: Asker, near: Near, flags: Mapping[str, Any], day: dt.date) -> Entry:
    from pipeline.cli.answers import parse_day, parse_not_negative, parse_number_pairs, parse_some_of
    from pipeline.model.words import Result

    part = near.part
    assert part is not None
    samples = [*part.prototypes, *part.first_articles, *part.revisions]
    test = asker.take_choice(flags["test"], "--test", "Which test", near.catalogues.processes.processes)
    of = asker.take_choice(flags["of"], "--of", "Of which sample", samples)
    by = take_person(asker, near, flags["by"], "--by", "Who made it")
    at = asker.take_choice(
        flags["at"], "--at", "At which laboratory", near.catalogues.suppliers.suppliers, optional=True
    )
    covers = asker.take(flags["covers"], "--covers", "Features it speaks of", parse_some_of(part.features, "feature"))
    gives = asker.take(
        flags["gives"], "--gives", "Readings", parse_number_pairs(part.features, "feature"), optional=True
    )
    result = asker.take_choice(flags["result"], "--result", "Result", [r.value for r in Result])
    valid_to = asker.take(flags["valid_to"], "--valid-to", "Valid to", parse_day, optional=True)
    cost = asker.take(flags["cost"], "--cost", "What it cost", parse_not_negative, optional=True)
    seen_by = take_person(asker, near, flags["seen_by"], "--seen-by", "Seen by", optional=True)
    entry = {
        "kind": test, "of": of, "on": day, "by": by, "at": at, "covers": covers, "gives": gives, "result": result,
        "valid_to": valid_to, "seen_by": seen_by, "file": ..., "cost": cost,
    }  # fmt: skip
    return Entry("tests", entry)


def take_first_article(asker: Asker, near: Near, flags: Mapping[str, Any], day: dt.date) -> Entry:
    """Ask for what a first article must say: which tools made it, how many pieces, finished or not, what they read."""
    from pipeline.cli.answers import parse_count, parse_not_negative, parse_piece_readings, parse_some_of, parse_yes
    from pipeline.model.words import Hand, Result

    part, lineage = near.part, near.lineage
    assert part is not None and lineage is not None
    tools = asker.take(flags["tools"], "--tools", "Tools that made it", parse_some_of(list_tools(part), "tool"))
    of = asker.take_choice(flags["of"], "--of", "Of which revision", part.revisions, default=lineage.current)
    by = take_person(asker, near, flags["by"], "--by", "Who inspected it")
    seen_by = take_person(asker, near, flags["seen_by"], "--seen-by", "Seen by", optional=True)
    pieces = asker.take(flags["pieces"], "--pieces", "Pieces of every cavity", parse_count)
    given = None if flags["finished"] is None else "yes" if flags["finished"] else "no"
    finished = asker.take(given, "--finished", "Finished as they will be sold (yes, no)", parse_yes)
    hand = None
    if part.hands is not None:
        hand = asker.take_choice(flags["hand"], "--hand", "Hand", [h.value for h in Hand], default="none")
    covers = asker.take(
        flags["covers"], "--covers", "Features it shows", parse_some_of(part.features, "feature"), optional=True
    )
    gives = asker.take(
        flags["gives"], "--gives", "Readings of the pieces (feature=value value value)",
        parse_piece_readings(part.features), optional=True,
    )  # fmt: skip
    result = asker.take_choice(flags["result"], "--result", "Result", [r.value for r in Result])
    hours = asker.take(flags["hours"], "--hours", "Hours it took", parse_not_negative, optional=True)
    entry = {
        "tools": tools, "of": of, "on": day, "by": by, "seen_by": seen_by, "pieces": pieces, "finished": finished,
        "hand": hand if hand != "none" else None, "settings": None,
        "gives": gives, "covers": covers, "result": result, "file": ..., "hours": hours,
    }  # fmt: skip
    return Entry("first_articles", entry, settings=flags["settings"])


def _take_review(asker: Asker, near: Near, flags: Mapping[str, Any], day: dt.date) -> Entry:
    from pipeline.cli.answers import parse_some_of

    known = near.catalogues.safety.regulations
    by = take_person(asker, near, flags["by"], "--by", "Who reviewed it")
    regulations = asker.take(
        flags["regulations"], "--regulations", "Regulations looked at", parse_some_of(known, "regulation")
    )
    plan = asker.take(flags["plan"], "--plan", "Test plan, and who carries it out", _parse_text())
    return Entry("safety_review", {"on": day, "by": by, "regulations": regulations, "plan": plan, "file": ...})


def _take_attachments(
    near: Near, files: tuple[Path, ...], flags: Mapping[str, Any]
) -> tuple[list[Attachment], tuple[str, ...]]:
    """Return the files as attachments, in order, and what a person should know about their names."""
    from pipeline.portfolio.attaching import attach_reference, attach_several

    if flags["reference"]:
        return attach_reference(near, files, flags["uri"], flags["sha256"], flags["size"])
    return attach_several(near, files)


def build_entries(
    near: Near, kind: str, files: tuple[Path, ...], entries: list[Entry], flags: Mapping[str, Any]
) -> Draft:
    """Return the draft of new entries of one kind, with their files and the originals that come with them."""
    from pipeline.portfolio.attaching import attach_several, check_calibration
    from pipeline.portfolio.entries import find_next_key, keep_given
    from pipeline.portfolio.proposal import Draft
    from pipeline.writing.records import insert_entry, set_value

    part = near.part
    assert part is not None
    attachments, notes = _take_attachments(near, files, flags)
    edits: list[Callable[[str], str]] = []
    pointers: list[tuple[str, ...]] = []
    if kind == "picture":
        if len(attachments) != 1:
            raise ValueError("a part has one picture: name one file")
        path = attachments[0].path
        edits.append(lambda text: set_value(text, ("picture",), path))
        return Draft(_chain(edits), (("picture",),), f"picture {path}", tuple(attachments), notes=notes)
    first = find_next_key(part, entries[0].section) if entries[0].section != "safety_review" else ""
    added: set[str] = set()
    for place, entry in enumerate(entries):
        fields = dict(entry.fields)
        fields["file"] = attachments[place].path if place < len(attachments) else None
        if entry.settings is not None and place == 0:
            extra, more = attach_several(near, (entry.settings,), {a.path: a.sha256 for a in attachments})
            attachments, notes = [*attachments, *extra], (*notes, *more)
            fields["settings"] = extra[0].path
        if entry.section == "safety_review":
            edits.append(partial(set_value, pointer=("safety_review",), value=keep_given(fields)))
            pointers.append(("safety_review",))
            continue
        if entry.original is not None and entry.original[0] not in added and entry.original[0] not in part.originals:
            name, original = entry.original
            added.add(name)
            edits.append(partial(insert_entry, section="originals", key=name, entry=original))
            pointers.append(("originals", name))
        key = _count_on(first, place)
        if entry.section == "measurements":
            notes = (*notes, *check_calibration(near, str(fields["with"]), fields["on"]))
        edits.append(partial(insert_entry, section=entry.section, key=key, entry=keep_given(fields)))
        pointers.append((entry.section, key))
    named = ", ".join(pointer[-1] for pointer in pointers)
    return Draft(_chain(edits), tuple(pointers), f"{kind} {named}", tuple(attachments), notes=notes)


def _count_on(key: str, by: int) -> str:
    digits = key.lstrip("ABCDEFGHIJKLMNOPQRSTUVWXYZabcdefghijklmnopqrstuvwxyz")
    return f"{key[: len(key) - len(digits)]}{int(digits) + by}" if by else key


def _chain(edits: list[Callable[[str], str]]) -> Callable[[str], str]:
    def edit(text: str) -> str:
        for one in edits:
            text = one(text)
        return text

    return edit


def _find_target(near: Near, name: str, field: str) -> tuple[str, ...]:
    """Return the pointer of an entry that is there, by its id alone or as `section.id`."""
    from pipeline.portfolio.attaching import find_entry

    assert near.part is not None
    try:
        return (*find_entry(near.part, name), field)
    except ValueError as error:
        raise click.UsageError(f"--to: {error}.") from None


def _name_file(near: Near, target: tuple[str, ...], files: tuple[Path, ...], flags: Mapping[str, Any]) -> Draft:
    from pipeline.portfolio.proposal import Draft
    from pipeline.writing.records import add_keys

    attachments, notes = _take_attachments(near, files, flags)
    if len(attachments) != 1:
        raise ValueError(f"{'.'.join(target[:-1])} names one file; attach one at a time")
    path = attachments[0].path
    return Draft(
        lambda text: add_keys(text, target[:-1], {target[-1]: path}), (target,),
        f"{path.rpartition('/')[2]} for {target[-2]}", tuple(attachments), notes=notes,
    )  # fmt: skip
