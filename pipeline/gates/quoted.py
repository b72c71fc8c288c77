"""Requirements of the quote gate."""

from __future__ import annotations

from collections.abc import Iterator

from pipeline.gates.judgement import Answer, Bench, name_list
from pipeline.lineage.freshness import Cause
from pipeline.model.part import Part, Quote
from pipeline.model.words import Gate, Say, ToolOwner


def find_chosen(part: Part) -> str | None:
    """Return the quote that the last decision chose."""
    chosen = [(d.on, place, d.choose) for place, d in enumerate(part.decisions) if d.choose and d.say is Say.GO]
    return max(chosen)[2] if chosen else None


def _find_looked_at(bench: Bench) -> tuple[str, ...]:
    chosen = find_chosen(bench.part)
    return tuple(bench.part.quotes) if chosen is None or chosen not in bench.part.quotes else (chosen,)


def _is_free_of(bench: Bench, key: str, causes: frozenset[Cause]) -> bool:
    if bench.lenient:
        return bench.counts(f"quotes.{key}")
    return not any(reason.cause in causes for reason in bench.lineage.reasons.get(f"quotes.{key}", ()))


def judge_offers(bench: Bench) -> Answer:
    """How many suppliers have an offer that was made for the current model."""
    least = int(bench.need.least or 1)
    on_model = frozenset(set(Cause) - {Cause.EXPIRED})
    good = {q.from_: f"quotes.{k}" for k, q in bench.part.quotes.items() if _is_free_of(bench, k, on_model)}
    words = f"{len(good)} supplier{'' if len(good) == 1 else 's'} offered, {least} wanted"
    todo = (
        ()
        if len(good) >= least
        else (f"ask {least - len(good)} more for an offer on revision {bench.lineage.current}",)
    )
    return Answer(len(good) >= least, words, len(good), least, todo, tuple(good.values()))


def judge_quote_revision(bench: Bench) -> Answer:
    """Whether the offer (the chosen one, if one is chosen) was made for the model as it is."""
    looked = _find_looked_at(bench)
    if not looked:
        return Answer(False, "no offer yet", 0, 1, ("ask for offers",))
    on_model = frozenset({Cause.FEATURE_CHANGED, Cause.FILE_CHANGED, Cause.FILE_MISSING, Cause.REPLACED})
    good = [key for key in looked if _is_free_of(bench, key, on_model)]
    if good:
        return Answer(True, f"{name_list(good)} was made for the model as it is", 1, 1, (), (f"quotes.{good[0]}",))
    old = ", ".join(f"{key} on revision {bench.part.quotes[key].of}" for key in looked)
    todo = (f"ask for {name_list(list(looked))} again on revision {bench.lineage.current}",)
    return Answer(False, f"{old}; the model changed since", 0, 1, todo)


def judge_valid(bench: Bench) -> Answer:
    """Whether the offer has a day to which it is valid, and that day has not passed (or it was ordered on in time)."""
    looked = _find_looked_at(bench)
    if not looked:
        return Answer(False, "no offer yet", 0, 1, ("ask for offers",))
    good = [
        key
        for key in looked
        if bench.part.quotes[key].valid_to is not None and _is_free_of(bench, key, frozenset({Cause.EXPIRED}))
    ]
    if good:
        last = max(bench.part.quotes[key].valid_to for key in good)  # type: ignore[type-var]
        return Answer(True, f"valid to {last}", 1, 1, (), tuple(f"quotes.{key}" for key in good))
    words = ", ".join(_describe_validity(key, bench.part.quotes[key]) for key in looked)
    return Answer(False, words, 0, 1, tuple(f"ask {bench.part.quotes[key].from_} to renew {key}" for key in looked))


def _describe_validity(key: str, quote: Quote) -> str:
    return f"{key} states no validity" if quote.valid_to is None else f"{key} ran out on {quote.valid_to}"


def find_unstated(part: Part, quote: Quote) -> Iterator[str]:
    """Yield the lines of the scope that an offer leaves out and that nobody said were not wanted."""
    lines = {
        "weeks": quote.weeks is not None,
        "yield": quote.yield_ is not None,
        "freight": quote.freight is not None,
        "duty": quote.duty is not None,
        "payments": bool(quote.pay) or not quote.tools,
        "owns_tool": quote.owns_tool is not ToolOwner.NOT_STATED or not quote.tools,
    }
    lines |= {f"tool-{key}": key in quote.tools for key, tool in part.tools.items() if tool.by in (None, quote.from_)}
    yield from (name for name, stated in lines.items() if not stated and name not in quote.not_wanted)


def judge_scope(bench: Bench) -> Answer:
    """Whether the offer says all that is needed to compare it; what it leaves out never counts as zero."""
    looked = _find_looked_at(bench)
    if not looked:
        return Answer(False, "no offer yet", 0, 1, ("ask for offers",))
    left_out = {key: tuple(find_unstated(bench.part, bench.part.quotes[key])) for key in looked}
    whole = [key for key, lines in left_out.items() if not lines]
    if whole:
        return Answer(True, f"{name_list(whole)} states everything", 1, 1)
    key = min(left_out, key=lambda k: (len(left_out[k]), k))
    words = f"{key} does not state {name_list(left_out[key])}"
    todo = (f"ask {bench.part.quotes[key].from_} for {name_list(left_out[key])}, or list them in `not_wanted`",)
    return Answer(False, words, 0, 1, todo)


def judge_chosen(bench: Bench) -> Answer:
    """Whether one offer was chosen."""
    chosen = find_chosen(bench.part)
    if chosen is None:
        way = f"pipeline decide {bench.part.part} {Gate.QUOTE} go --choose QUOTE"
        todo = (f"choose one of {name_list(bench.part.quotes)}: `{way}`",) if bench.part.quotes else ()
        return Answer(False, "no offer is chosen yet", 0, 1, todo)
    return Answer(True, f"{chosen} is chosen", 1, 1, (), (f"quotes.{chosen}",))
