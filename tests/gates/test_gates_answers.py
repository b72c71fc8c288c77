"""What each requirement answers, word by word: what is there, what is wanted, what to do, on which evidence.

`answers.txt` holds the answers, one block a row of `test_gates_requirements.ROWS`, read and approved by a person. Run
this file as a program to write it anew, then read what changed: `python3 tests/gates/test_gates_answers.py`.
"""

from __future__ import annotations

import sys
import tempfile
from collections.abc import Callable
from pathlib import Path

import pytest

if str(Path(__file__).parents[1]) not in sys.path:  # run as a program
    sys.path.insert(0, str(Path(__file__).parents[1]))

from gates.gates_policy import find_requirement, write_policy
from gates.test_gates_requirements import ROWS, Row

from pipeline.findings.rule import Example
from pipeline.findings.sample import build_sample
from pipeline.gates.judgement import Requirement

ANSWERS = Path(__file__).with_name("answers.txt")


def name_row(row: Row) -> str:
    """Return the name of a row, as the test shows it."""
    return f"{row[0]}: {row[1]}"


def write_row(row: Row) -> Example:
    """Return the sample that a row speaks of."""
    policy = write_policy(**{row[0].replace(".", "_").replace("-", "_"): row[2]})
    return Example("decisions: []\n" + row[3], {**policy, **row[4]})


def render_answer(found: Requirement) -> str:
    """Return everything that a requirement answered."""
    answer = found.answer
    lines = [f"{found.state}, {answer.have} of {answer.want}: {answer.words}"]
    lines += [f"  to do: {todo}" for todo in answer.todo]
    if answer.evidence:
        lines.append(f"  on {', '.join(answer.evidence)}")
    return "\n".join(lines)


def read_answers() -> dict[str, str]:
    """Return name of a row -> its answer."""
    blocks = ANSWERS.read_text("utf-8").strip().split("\n\n")
    return {name: text for name, _, text in (block.partition("\n") for block in blocks)}


@pytest.mark.parametrize("row", ROWS, ids=[name_row(row) for row in ROWS])
def test_a_requirement_answers_word_by_word(row: Row, sample: Callable[..., Path]) -> None:
    example = write_row(row)
    found = find_requirement(sample(example.part, dict(example.files)), row[0])
    assert render_answer(found) == read_answers()[name_row(row)]


def test_no_answer_is_kept_for_a_row_that_is_gone() -> None:
    assert list(read_answers()) == [name_row(row) for row in ROWS]


def write_answers() -> None:
    """Write what is answered now."""
    from conftest import write_files

    blocks = []
    for row in ROWS:
        with tempfile.TemporaryDirectory() as place:
            found = find_requirement(write_files(Path(place), build_sample(write_row(row))), row[0])
            blocks.append(f"{name_row(row)}\n{render_answer(found)}")
    ANSWERS.write_text("\n\n".join(blocks) + "\n", "utf-8")


if __name__ == "__main__":
    write_answers()
