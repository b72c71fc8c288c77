"""What the commands of the bench show: the person at the machine, what a change costs, the tooling release sheet."""

from __future__ import annotations

from pipeline.model.catalogue import Catalogues


def find_person(catalogues: Catalogues, email: str | None) -> str | None:
    """Return the id of the person with this e-mail address (shared/people.yaml), None where there is none."""
    if email is None:
        return None
    for key, person in catalogues.people.people.items():
        if any(one.casefold() == email.casefold() for one in person.emails):
            return key
    return None
