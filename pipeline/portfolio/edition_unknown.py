"""What is said where an edition cannot be had; alone, so that nobody loads the editions to catch it."""

from __future__ import annotations


class EditionUnknown(Exception):
    """There is no edition of that name, or the file that says what leaves cannot be used; the words say the way out."""
