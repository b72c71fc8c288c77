"""Prompts: each has a flag; a wrong answer is told and asked again; a script is told every flag that it left out."""

from __future__ import annotations

import difflib
import sys
from collections.abc import Callable, Iterable, Sequence
from typing import Any, TypeVar

import click

T = TypeVar("T")


class Asker:
    """Takes what flags give and asks for the rest, or, where nobody can answer, collects what is missing."""

    def __init__(self, interactive: bool) -> None:
        self.interactive = interactive
        self.missing: list[str] = []

    def take(
        self,
        given: str | None,
        flag: str,
        question: str,
        parse: Callable[[str], T],
        *,
        default: str | None = None,
        optional: bool = False,
    ) -> T | None:
        """Return the parsed answer; None where it is optional and left out, or missing (see `refuse_missing`).

        A flag that is wrong ends the command for a script; a person is asked.
        """
        if given is not None:
            try:
                return parse(given)
            except ValueError as error:
                if not self.interactive:
                    raise click.UsageError(f"{flag}: {error}") from None
                click.echo(f"  {flag}: {error}", err=True)
        elif not self.interactive:
            if default is not None:
                return parse(default)
            if not optional:
                self.missing.append(flag)
            return None
        return self._ask(f"{question} [{flag}]", parse, default, optional)

    def _ask(self, question: str, parse: Callable[[str], T], default: str | None, optional: bool) -> T | None:
        shown = f" ({default})" if default else " (Enter: none)" if optional else ""
        while True:
            answer = click.prompt(question + shown, default=default or "", show_default=False, err=True).strip()
            if not answer and optional:
                return None
            try:
                return parse(answer)
            except ValueError as error:
                click.echo(f"  {error}", err=True)

    def take_choice(
        self,
        given: str | None,
        flag: str,
        question: str,
        choices: Iterable[str],
        *,
        default: str | None = None,
        optional: bool = False,
    ) -> str | None:
        """Return one of the words; `choices` are shown where they are few."""
        words = list(choices)
        shown = f"{question}: {', '.join(words)}" if 0 < len(words) <= 12 else question
        if optional and not words and given is None:
            return None
        if self.interactive and not optional and len(words) == 1:
            default = default or words[0]
        return self.take(given, flag, shown, lambda text: choose(text, words), default=default, optional=optional)

    def confirm(self, question: str, default: bool = False) -> bool:
        """Ask yes or no; False where nobody can answer."""
        return self.interactive and click.confirm(question, default=default, err=True)

    def refuse_missing(self) -> None:
        """End with wrong usage when flags are missing, naming every one."""
        if self.missing:
            flags = ", ".join(dict.fromkeys(self.missing))
            raise click.UsageError(f"Nobody is here to answer, so these flags are needed: {flags}.")


def choose(text: str, words: Sequence[str]) -> str:
    """Return a word of a list, in whatever case it was typed. Raises ValueError with the nearest."""
    for word in words:
        if text.strip().casefold() == word.casefold():
            return word
    close = difflib.get_close_matches(text, words, n=1)
    hint = (
        f"; did you mean {close[0]}?"
        if close
        else f"; there is {', '.join(words[:20])}"
        if words
        else "; there is none"
    )
    raise ValueError(f'"{text}" is not there{hint}')


def is_answered() -> bool:
    """True when a person sits at the terminal."""
    return sys.stdin is not None and sys.stdin.isatty()


def split_list(text: str) -> list[str]:
    """Return the words of a list: separated by commas or blanks.

    >>> split_list("rim_od, boss_pitch")
    ['rim_od', 'boss_pitch']
    """
    return text.replace(",", " ").split()


def as_text(value: Any) -> str | None:
    """Return a flag's value as a prompt's default: None stays None."""
    return None if value is None else str(value)
