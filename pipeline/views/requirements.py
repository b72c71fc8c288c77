"""What each requirement of a gate wants, in words, with the figures of the policy in force."""

from __future__ import annotations

from collections.abc import Callable, Mapping

from pipeline.gates.standing import find_needs
from pipeline.model.catalogue import NeedParameters
from pipeline.portfolio.portfolio import PartFile
from pipeline.views.wording import word_share

Wants = Callable[[NeedParameters], str]


def _least(need: NeedParameters, default: int) -> int:
    return int(default if need.least is None else need.least)


def _all_or_share(need: NeedParameters, what: str) -> str:
    if need.share is None or need.share >= 1:
        return f"every {what}"
    return f"at least {word_share(need.share)} of each {what}".replace("of each", "of the") + "s"


WANTS: Mapping[str, Wants] = {
    "measure.originals": lambda n: (
        f"at least {_least(n, 1)} originals measured that count"
        + (f", {int(n.wanted)} if they can be found" if n.wanted else "")
    ),
    "measure.critical": lambda n: f"{_all_or_share(n, 'critical feature')} measured on an original",
    "measure.calibration": lambda _: "every instrument in calibration on the day",
    "measure.ratio": lambda n: f"limits at least {n.least or 4:g} times the uncertainty of the reading",
    "measure.safety-review": lambda _: "regulations looked up and a test plan written",
    "model.revision": lambda _: "a model with its file",
    "model.source": lambda n: f"{_all_or_share(n, 'critical feature')} traced to measurements that count",
    "model.stacks": lambda _: "every stack keeps its gap",
    "prototype.built": lambda n: f"at least {_least(n, 1)} prototype of the model as it is",
    "prototype.proves": lambda n: f"{_all_or_share(n, 'critical feature')} shown by what can prove it",
    "fit-check.coverage": lambda n: f"a good fit check on {_all_or_share(n, 'application')}, on each hand",
    "fit-check.interfaces": lambda _: "every gap measured within its limits",
    "fit-check.finish": lambda _: "a plated part decided on a plated sample",
    "fit-check.second-signature": lambda _: "every fit check seen by a second person",
    "quote.offers": lambda n: f"offers from at least {_least(n, 1)} suppliers on the model as it is",
    "quote.revision": lambda _: "the offer is for the model as it is",
    "quote.valid": lambda _: "the offer has not run out",
    "quote.scope": lambda _: "the offer states all that is needed to compare it",
    "quote.chosen": lambda _: "one offer chosen",
    "tooling.accepted": lambda _: "every tool accepted",
    "tooling.first-article": lambda n: f"at least {_least(n, 3)} finished pieces of every cavity, settings recorded",
    "tooling.refit": lambda n: f"a first article fitted on {_all_or_share(n, 'application')}, on each hand",
    "tooling.proofs": lambda n: f"{_all_or_share(n, 'critical feature')} proven on the finished part",
    "tooling.second-signature": lambda _: "the first article seen by a second person",
    "tooling.safety-tests": lambda _: "tested by a competent laboratory or a licensed engineer",
    "tooling.children": lambda _: "every part of the assembly released",
}
"""Id of a requirement -> the function that says what it wants."""


def word_requirement(name: str, need: NeedParameters) -> str:
    """Return what a requirement wants; its id, where the house has no words for it.

    >>> word_requirement("measure.originals", NeedParameters(least=3))
    'at least 3 originals measured that count'
    """
    found = WANTS.get(name)
    return name if found is None else found(need)


def find_need(file: PartFile, requirement: str) -> NeedParameters:
    """Return the figures of a requirement as they stand for a part."""
    for gate in file.standing.gates:
        found = find_needs(file.part, file.workspace, gate).get(requirement)
        if found is not None:
            return found
    return NeedParameters()
