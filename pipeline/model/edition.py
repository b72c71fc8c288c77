"""What outsiders are shown: which parts leave the house, and what is said of them."""

from __future__ import annotations

from enum import StrEnum
from typing import Annotated

from pydantic import AfterValidator, Field

from pipeline.model.quantity import Frozen, Key, Text, build_error

INTERNAL = "internal"
"""The edition with everything in it: it is for the house, and no outer edition may have its name."""


class LetOut(StrEnum):
    """Why a part may leave the house. A confidential part never leaves before its announcement day, whatever is chosen.

    released : for sale. announced : its announcement day has come. tooling released : its tooling money is released.
    open : in development, and not confidential.
    """

    RELEASED = "released"
    ANNOUNCED = "announced"
    TOOLING_RELEASED = "tooling released"
    OPEN = "open"


class OuterField(StrEnum):
    """What may be said of a part besides number, name, what it fits, whether it is for sale, and its cautions.

    Those five are said in every edition: without them nobody can ask for a part, and no maker may leave a caution out.
    """

    FAMILY = "family"
    HANDS = "hands"
    REPLACES = "replaces"
    PICTURE = "picture"
    DRAWING_WORDS = "drawing words"
    MARKING = "marking"
    STAGE = "stage"
    EXPECTED = "expected"
    PRICE = "price"
    CONTENTS = "contents"
    FITTING = "fitting"
    TRIALS = "trials"


_MODEST = (OuterField.FAMILY, OuterField.HANDS, OuterField.REPLACES, OuterField.PICTURE, OuterField.MARKING)


class Edition(Frozen):
    """One outer edition."""

    parts: tuple[LetOut, ...] = Field(
        default=(LetOut.ANNOUNCED, LetOut.RELEASED),
        description="which parts leave: released (for sale), announced (its day has come), tooling released, open (not "
        "confidential); a confidential part never leaves before its announcement day",
    )
    fields: tuple[OuterField, ...] = Field(
        default=(*_MODEST, OuterField.STAGE),
        description="what is said besides number, name, fits, for sale or coming, and cautions: family, hands, "
        "replaces, picture, drawing words (the words in a drawing), marking, stage, expected (a quarter), price, "
        "contents (of a kit), fitting (gaps and the features that decide them), trials (on which bodies it was tried)",
    )
    intro: Text | None = Field(default=None, description="a line on the first page, e.g. where to ask and to order")


def _refuse_internal(name: str) -> str:
    if name.casefold() == INTERNAL:
        raise build_error("contradiction", f"`{INTERNAL}` is the edition with everything in it; choose another name")
    return name


EditionName = Annotated[Key, AfterValidator(_refuse_internal)]


class Editions(Frozen):
    """shared/editions.yaml; a workspace without it has the editions `partner` and `public`, and both say little."""

    editions: dict[EditionName, Edition] = Field(
        default_factory=lambda: {
            "partner": Edition(fields=(*_MODEST, OuterField.STAGE, OuterField.TRIALS)),
            "public": Edition(),
        },
        min_length=1,
    )
