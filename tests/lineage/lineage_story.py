"""A record with every kind of evidence, a part that borrows its die, and an assembly: the tree that changes run down."""

from __future__ import annotations

import hashlib
from collections.abc import Callable, Mapping
from pathlib import Path

from pipeline.portfolio.check import Checked, check_workspace

STORY = """\
part: SD-100
name: Sample hook
family: cast
safety: S0
engineer: ann
fits:
  saloon: {vehicle: finch, body: saloon, years: 1951-1955}
  estate: {vehicle: finch, body: estate, years: 1952-1955}
originals:
  O1: {condition: used, from: lent}
  O2: {condition: used, from: bought}
features:
  length: {what: length, kind: size, nominal: 40, limits: [-0.2, 0.2], unit: mm, critical: true}
  width: {what: width, kind: size, nominal: 20, limits: [-0.2, 0.2], unit: mm}
  plate: {what: plating, kind: size, nominal: 10, limits: [-2, 2], unit: um, coated: true}
  hard: {what: hardness, kind: hardness, nominal: 50, limits: [-5, 5], unit: HRC}
interfaces:
  seat: {what: hook to sill, gap: {limits: [0.1, 0.9]}, features: [length]}
  slot: {what: hook in slot, gap: {limits: [0.1, 0.9]}, stack: [{feature: width}, {coating: plate}, {name: slot, nominal: 20.4, limits: [-0.1, 0.1]}]}
measurements:
  M1: {of: O1, on: 2026-01-10, by: ann, with: arm, at: 20 C, file: evidence/m1.csv, gives: {length: 40.02}}
  M2: {of: O2, on: 2026-01-10, by: ann, with: arm, at: 20 C, file: evidence/m2.csv, gives: {width: 20.01, plate: 10}}
revisions:
  A: {on: 2026-01-20, by: ann, file: evidence/a.stl, from: [M1, M2]}
prototypes:
  P1: {of: A, process: print, on: 2026-02-01, file: evidence/p1.txt}
  P2: {of: A, process: print, on: 2026-02-01, covers: [width]}
fit_checks:
  F1: {with: P1, on: 2026-02-05, by: ann, seen_by: bob, car: car-1, fits: saloon, gaps: {seat: [0.4]}, result: good, file: evidence/f1.jpg}
  F2: {with: P2, on: 2026-02-05, by: ann, seen_by: bob, car: car-2, fits: estate, gaps: {slot: [0.4]}, result: good}
tests:
  T1: {kind: hardness-test, of: FA1, on: 2026-04-20, by: ann, at: lab, covers: [hard], result: good, valid_to: 2026-12-31, file: evidence/t1.txt}
quotes:
  Q1: {from: foundry, of: A, on: 2026-03-01, valid_to: 2026-08-01, money: USD, tools: {die: 9000}, piece: {500: 4.20}, file: evidence/q1.txt}
  Q2: {from: lab, of: A, on: 2026-03-01, valid_to: 2026-08-01, money: USD, tools: {trim: 900}, piece: {500: 4.20}, covers: [width]}
tools:
  die: {kind: die, forms: [length], price: 9000 USD, steps: {ordered: 2026-03-10, cutting: 2026-03-20, on trial: 2026-04-01}, file: evidence/die.txt}
  trim: {kind: die, forms: [width], price: 900 USD, steps: {ordered: 2026-03-10}}
  mask: {kind: gauge, made_to_fit: [die], steps: {ordered: 2026-03-10}}
  gauge: {kind: gauge, checks: [width, hard], steps: {ordered: 2026-03-10}}
first_articles:
  FA1: {tools: [die], of: A, on: 2026-04-10, by: ann, seen_by: bob, pieces: 5, finished: true, settings: evidence/set.csv, gives: {length: [40.0]}, result: good}
  FA2: {tools: [trim], of: A, on: 2026-04-10, by: ann, seen_by: bob, pieces: 5, finished: true, settings: evidence/set2.csv, gives: {width: [20.0]}, covers: [hard], result: good}
gauge_studies:
  G1: {feature: width, on: 2026-01-09, by: ann, with: arm, file: evidence/g1.csv}
sample_runs:
  S1: {feature: length, tools: [die], of: A, on: 2026-04-15, by: ann, with: arm, file: evidence/s1.csv}
"""

BORROWER = """\
part: SD-200
name: Cap
family: cast
safety: S0
engineer: ann
fits: {saloon: {vehicle: finch, body: saloon, years: 1951}}
features: {edge: {what: edge, kind: size, nominal: 3, limits: [0, 1], unit: mm}}
revisions: {A: {on: 2026-01-20, by: ann}}
tools: {cap: {kind: gauge, forms: [edge], made_to_fit: [SD-100/die], steps: {ordered: 2026-03-12}}}
first_articles: {N1: {tools: [cap], of: A, on: 2026-04-12, by: ann, pieces: 3, finished: true, gives: {edge: [3]}, result: good}}
"""

ASSEMBLY = """\
part: SD-300
name: Hook with cap
family: cast
safety: S0
engineer: ann
fits: {saloon: {vehicle: finch, body: saloon, years: 1951}}
features: {gap: {what: gap, kind: size, nominal: 1, limits: [0, 1], unit: mm}}
made_of: {hook: {part: SD-100}, cap: {part: SD-200}}
revisions: {A: {on: 2026-01-25, by: ann}}
prototypes: {G1: {of: A, process: print, on: 2026-02-10}}
fit_checks: {G2: {with: G1, on: 2026-02-11, by: ann, seen_by: bob, car: car-1, fits: saloon, result: good}}
"""

FILES = ("m1.csv", "m2.csv", "a.stl", "p1.txt", "f1.jpg", "t1.txt", "q1.txt", "die.txt", "set.csv", "set2.csv", "g1.csv",
         "s1.csv")  # fmt: skip


def write_story(
    sample: Callable[..., Path],
    edits: Mapping[str, str] | None = None,
    other: Mapping[str, str] | None = None,
    add: str = "",
) -> Path:
    """Return a workspace with the three records. edits, other : text -> text in the first and the other records."""
    root = sample()
    texts = {"SD-100": STORY, "SD-200": BORROWER, "SD-300": ASSEMBLY}
    for old, new in (edits or {}).items():
        assert texts["SD-100"].count(old) == 1, old
        texts["SD-100"] = texts["SD-100"].replace(old, new)
    for old, new in (other or {}).items():
        hit = [number for number in ("SD-200", "SD-300") if old in texts[number]]
        assert len(hit) == 1, old
        texts[hit[0]] = texts[hit[0]].replace(old, new)
    texts["SD-100"] += add
    for number, text in texts.items():
        (root / "projects" / number / "evidence").mkdir(parents=True, exist_ok=True)
        (root / "projects" / number / "part.yaml").write_text(text, encoding="utf-8")
    folder = root / "projects/SD-100"
    for name in FILES:
        (folder / "evidence" / name).write_text(f"{name}\n")
    lines = [hashlib.sha256(f"{name}\n".encode()).hexdigest() + f"  evidence/{name}\n" for name in FILES]
    (folder / "evidence.sha256").write_text("".join(lines))
    return root


def find_stale(checked: Checked) -> dict[str, tuple[str, ...]]:
    """Return every stale node of every part, as `number/section.key`, with the words that say why."""
    return {
        f"{number}/{node}": tuple(reason.words for reason in reasons)
        for number, lineage in checked.lineage.parts.items()
        for node, reasons in lineage.reasons.items()
        if reasons
    }


def check_story(root: Path) -> dict[str, tuple[str, ...]]:
    """Return what is stale in a workspace on disk."""
    return find_stale(check_workspace(root))
