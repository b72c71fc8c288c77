"""`pipeline decide`: go, rework, hold or drop."""

from __future__ import annotations

from typing import TYPE_CHECKING

import click

from pipeline.cli.attach_studies import take_person
from pipeline.cli.bench_step import Desk, add_bench_options, run_step, take_near

if TYPE_CHECKING:
    from pipeline.portfolio.near import Near
    from pipeline.portfolio.proposal import Draft


@click.command("decide")
@click.argument("part")
@click.argument("gate", required=False)
@click.argument("say", required=False)
@click.option("--by", metavar="ID", help="Who decides; the role is checked against shared/gates.yaml.")
@click.option("--second", metavar="ID", help="Second signature, where the gate wants one.")
@click.option("--why", metavar="TEXT", help="Why; rework, hold and drop want it.")
@click.option("--choose", metavar="ID", help="The quote that is chosen (quote gate).")
@add_bench_options
def command(
    part: str, gate: str | None, say: str | None, by: str | None, second: str | None, why: str | None,
    choose: str | None, desk: Desk,
) -> int:  # fmt: skip
    """Decide the GATE of PART: measure, model, prototype, "fit check", quote, tooling. SAY is go, rework, hold or drop.

    A go that claims more than is proven is refused, with every requirement that is missing; `pipeline waive` sets one
    aside by name. The release of tooling money is `pipeline release`.

    \b
    pipeline decide TW-101 "fit check" go --by ito --second bram
    """
    from pipeline.cli.answers import parse_text
    from pipeline.model.words import GATES, Gate, Say

    near = take_near(desk, part)
    assert near.part is not None and near.standing is not None
    asker = desk.build_asker()
    gate = gate.replace("-", " ") if gate is not None else None
    default = str(near.standing.gate) if near.standing.gate is not None else None
    chosen = asker.take_choice(gate, "GATE", "Which gate", [g.value for g in GATES], default=default)
    if gate is None and not asker.interactive:
        asker.missing.append("GATE")
    word = asker.take_choice(say, "SAY", "Decision", [s.value for s in Say])
    if chosen is None or word is None:
        asker.refuse_missing()
    the_gate, the_say = Gate(str(chosen)), Say(str(word))
    policy = near.catalogues.gates.gates[the_gate]
    by = take_person(asker, near, by, "--by", f"Who decides ({' or '.join(policy.decided_by)})")
    if policy.second_signature and the_say is Say.GO:
        second = take_person(asker, near, second, "--second", "Second signature", default=None)
    if the_gate is Gate.QUOTE and the_say is Say.GO:
        choose = asker.take_choice(choose, "--choose", "Which quote is chosen", near.part.quotes)
    reason = asker.take(why, "--why", "Why", parse_text, optional=the_say is Say.GO)
    asker.refuse_missing()
    entry = {
        "gate": the_gate, "on": desk.day or near.today, "by": by, "say": the_say, "why": reason, "second": second,
        "choose": choose if the_gate is Gate.QUOTE else None,
    }  # fmt: skip
    return run_step(desk, "decide", part, lambda n: build_decision(n, entry), near)


def build_decision(near: Near, entry: dict[str, object]) -> Draft:
    """Return the draft of a decision, with everything that speaks against it."""
    from pipeline.model.part import Decision
    from pipeline.model.words import Gate, Say
    from pipeline.portfolio.deciding import find_decision_notes, find_gate_blockers, find_signature_faults
    from pipeline.portfolio.entries import keep_given
    from pipeline.portfolio.near import preview
    from pipeline.portfolio.proposal import Draft
    from pipeline.writing.encoding import edit_bytes
    from pipeline.writing.records import append_item

    assert near.part is not None
    gate, say = Gate(str(entry["gate"])), Say(str(entry["say"]))
    given = keep_given(entry)
    decision = Decision.model_validate(given)

    def edit(text: str) -> str:
        return append_item(text, "decisions", given)

    faults = list(find_signature_faults(near, near.catalogues.gates.gates[gate], decision))
    if say is Say.GO and not faults:
        after = preview(near, edit_bytes(near.content or b"", edit))
        if after.standing is not None and after.standing.gates[gate].decision == decision:
            faults += [f"the {gate} gate wants {line}" for line in find_gate_blockers(after, gate)]
    pointer = ("decisions", len(near.part.decisions))
    notes = find_decision_notes(near, gate, say)
    return Draft(edit, (pointer,), f"{gate} gate {say}", refusals=tuple(faults), notes=notes)
