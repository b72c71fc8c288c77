"""The sample workspace that every example of the rule catalogue starts from. It has no finding."""

from __future__ import annotations

import hashlib
import re

from pipeline.findings.rule import Example

SAMPLE_NUMBER = "SD-100"
SAMPLE_TODAY = "2026-06-01"

_MESH = """\
solid hook
facet normal 0 0 -1
outer loop
vertex 0 0 0
vertex 0 10 0
vertex 40 0 0
endloop
endfacet
facet normal 0 -1 0
outer loop
vertex 0 0 0
vertex 40 0 0
vertex 0 0 5
endloop
endfacet
facet normal -1 0 0
outer loop
vertex 0 0 0
vertex 0 0 5
vertex 0 10 0
endloop
endfacet
facet normal 0.1 0.4 0.9
outer loop
vertex 40 0 0
vertex 0 10 0
vertex 0 0 5
endloop
endfacet
endsolid hook
"""

_EVIDENCE = {
    "evidence/o1.csv": "feature,n,reading,unit\nlength,1,40.02,mm\n",
    "evidence/o2.csv": "feature,n,reading,unit\nlength,1,39.99,mm\n",
    "evidence/hook-a.stl": _MESH,
}

SAMPLE_PART = """\
part: SD-100
name: Sample hook
family: cast
safety: S0
engineer: ann
fits:
  saloon: {vehicle: finch, body: saloon, years: 1951-1955}
originals:
  O1: {condition: used, from: lent by a member}
  O2: {condition: nos, from: boxed stock}
features:
  length: {what: overall length, kind: size, nominal: 40, limits: [-0.2, 0.2], unit: mm, critical: true}
  hard: {what: hardness, kind: hardness, nominal: 50, limits: [-5, 5], unit: HRC}
interfaces:
  seat: {what: hook to sill, gap: {limits: [0.1, 0.9]}, features: [length]}
measurements:
  M1: {of: O1, on: 2026-01-10, by: ann, with: arm, at: 20 C, file: evidence/o1.csv, gives: {length: 40.02}}
  M2: {of: O2, on: 2026-01-10, by: ann, with: arm, at: 20 C, file: evidence/o2.csv, gives: {length: 39.99}}
revisions:
  A: {on: 2026-01-20, by: ann, file: evidence/hook-a.stl, from: [M1, M2]}
prototypes:
  P1: {of: A, process: print, on: 2026-02-01}
fit_checks:
  F1: {with: P1, on: 2026-02-05, by: ann, seen_by: bob, car: car-1, fits: saloon, gaps: {seat: [0.4, 0.5]}, result: good}
quotes:
  Q1: {from: foundry, of: A, on: 2026-05-01, valid_to: 2026-08-01, money: USD, tools: {die: 9000}, piece: {500: 4.20}, weeks: 12, yield: 0.95, freight: 0.1, duty: 0, owns_tool: us}
tools:
  die: {kind: die, forms: [length], price: 9000 USD, steps: {quoted: 2026-05-01}}
decisions:
  - {gate: measure, on: 2026-01-15, by: bob, say: go}
  - {gate: model, on: 2026-01-25, by: bob, say: go}
  - {gate: prototype, on: 2026-02-03, by: bob, say: go}
  - {gate: fit check, on: 2026-02-10, by: bob, say: go, second: kim}
"""

SAMPLE_SHARED = {
    "shared/shop.yaml": "name: Sample shop\nas_of: 2026-06-01\n",
    "shared/vehicles.yaml": """\
vehicles:
  finch: {name: Finch, bodies: {saloon: {name: saloon, years: 1950-1956}, estate: {name: estate, years: 1952-1956}}}
cars:
  car-1: {vehicle: finch, body: saloon, year: 1953}
  car-2: {vehicle: finch, body: estate, year: 1954}
""",
    "shared/families.yaml": """\
families:
  cast:
    name: cast
    tool_kinds: [die]
    mix: {metal-off: 0.55, weld: 0.25, insert: 0.15, new-tool: 0.05}
    redo: {remeasure_h: 6, remodel_h: 10, reprint: 380, fit_h: 4, fit_hire: 300, requote_h: 6, tool_redesign: 1800, setup: 1500, plating_trial: 0, inspect_h: 16}
""",
    "shared/gates.yaml": """\
gates:
  measure:
    decided_by: [lead]
    needs:
      measure.originals: {least: 2}
      measure.critical: {share: 1}
      measure.calibration: {}
      measure.safety-review: {for: [S1, S2]}
  model: {decided_by: [lead], needs: {model.revision: {}, model.source: {share: 1}}}
  prototype: {decided_by: [lead], needs: {prototype.built: {}, prototype.proves: {share: 1}}}
  fit check:
    decided_by: [lead]
    second_signature: true
    needs:
      fit-check.coverage: {share: 1}
      fit-check.interfaces: {share: 1}
      fit-check.second-signature: {}
  quote: {decided_by: [lead, buyer], needs: {quote.offers: {least: 1}, quote.revision: {}, quote.valid: {}, quote.chosen: {}}}
  tooling:
    decided_by: [lead]
    second_signature: true
    needs: {tooling.accepted: {}, tooling.first-article: {least: 3}, tooling.proofs: {share: 1}, tooling.safety-tests: {for: [S2]}}
release: {decided_by: [owner], needs: {quote.chosen: {}}}
cannot_be_waived: [measure.safety-review, tooling.safety-tests, fit-check.second-signature]
""",
    "shared/tool_kinds.yaml": """\
kinds:
  die:
    name: casting die
    changes:
      metal-off: {share: [0.02, 0.05, 0.08], weeks: [1, 2, 3]}
      weld: {share: [0.08, 0.14, 0.20], weeks: [2, 3, 5]}
      insert: {share: [0.15, 0.25, 0.35], weeks: [4, 6, 8]}
      new-tool: {share: 1, weeks: [10, 14, 20]}
  gauge: {name: check gauge, gauge: true, remade: true}
""",
    "shared/processes.yaml": """\
proofs: {size: dimensions, fit: fit on the vehicle, hardness: hardness, marking: marking}
needs: {size: size, distance: size, hardness: hardness, marking: marking}
processes:
  print: {name: printed sample, proves: [size, fit]}
  first-article: {name: finished pieces, proves: [size, fit, marking]}
  hardness-test: {name: hardness test, proves: [hardness], laboratory: true}
""",
    "shared/resources.yaml": """\
resources: {arm-1: {name: measuring arm, hours_per_week: 20}}
instruments:
  arm: {name: measuring arm, mpe_mm: 0.02, calibrated: 2025-06-01, due: 2026-12-01}
""",
    "shared/suppliers.yaml": "suppliers: {foundry: {name: the foundry}, lab: {name: the laboratory, accredited: hardness}}\n",
    "shared/people.yaml": """\
people:
  ann: {name: Ann, roles: [engineer]}
  bob: {name: Bob, roles: [lead]}
  kim: {name: Kim, roles: [owner, buyer]}
""",
    "shared/money.yaml": "currency: USD\nhourly: {engineer: 75, buyer: 60}\n",
    "shared/safety.yaml": """\
classes:
  S0: {name: cosmetic, meaning: looks only, caution: none}
  S1: {name: affects control, meaning: affects control, caution: check the regulation}
  S2: {name: critical, meaning: critical, caution: check the regulation}
regulations: {lamps: {system: US, number: "108", subject: lamps, parts: lamps, seen: seen}}
""",
}


def split_sections(text: str) -> dict[str, str]:
    """Split a record into its top-level sections: key -> text.

    >>> list(split_sections("part: A1\\nfits:\\n  a: 1\\n"))
    ['part', 'fits']
    """
    sections: dict[str, str] = {}
    for chunk in re.split(r"(?m)^(?=[A-Za-z_]+:)", text):
        if chunk:
            sections[chunk.split(":", 1)[0]] = chunk
    return sections


def build_sample(example: Example) -> dict[str, bytes]:
    """Return the sample workspace with the example put in: path -> bytes.

    evidence.sha256 holds the hashes of the sample's own files as they were attached, so an example that changes one of
    them breaks its hash; files that the example adds are listed too. A list that starts with `+` is added to that.
    """
    sections = split_sections(SAMPLE_PART) | split_sections(example.part)
    folder = f"projects/{SAMPLE_NUMBER}"
    files: dict[str, str | None] = {
        **SAMPLE_SHARED,
        f"{folder}/part.yaml": "".join(sections.values()),
        **{f"{folder}/{name}": text for name, text in _EVIDENCE.items()},
    }
    files |= dict(example.files)
    attached = {
        name: text for name, text in files.items() if name.startswith(f"{folder}/evidence/") and text is not None
    }
    attached |= {f"{folder}/{name}": text for name, text in _EVIDENCE.items()}
    listed = _build_list(folder, attached)
    own_list = files.get(f"{folder}/evidence.sha256")
    if own_list is None or own_list.startswith("+"):
        files[f"{folder}/evidence.sha256"] = listed + (own_list or "")[1:]
    return {path: encode_text(text) for path, text in files.items() if text is not None}


def _build_list(folder: str, files: dict[str, str]) -> str:
    lines = [
        f"{hashlib.sha256(encode_text(text)).hexdigest()}  {path.removeprefix(folder + '/')}\n"
        for path, text in sorted(files.items())
    ]
    return "".join(lines)


def encode_text(text: str) -> bytes:
    """Encode text; a lone surrogate U+DCxx stands for the raw byte xx (an example of a wrong encoding)."""
    return text.encode("utf-8", "surrogateescape")
