"""A review that took place: who held it, on which day, and up to which commit the records were looked at."""

from typing import Annotated

from pydantic import Field

from pipeline.model.quantity import Day, Frozen, Key, Text


class Review(Frozen):
    """One review. `head` is the commit that was looked at: the next review starts from it, and a history that no
    longer holds it was rewritten."""

    on: Day
    by: Key
    head: Annotated[str, Field(pattern=r"^[0-9a-f]{7,64}$")] | None = None
    note: Text | None = None


class Reviews(Frozen):
    """shared/reviews.yaml: written by `pipeline review --close`, oldest first; a workspace without reviews has none."""

    reviews: tuple[Review, ...] = ()
