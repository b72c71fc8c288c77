"""Rules about what a record points at: catalogue entries, other records, its own entries."""

from __future__ import annotations

from pipeline.findings.finding import Severity
from pipeline.findings.rule import Example, Rule

ERROR, WARNING = Severity.ERROR, Severity.WARNING
_M = "of: O1, on: 2026-01-10, by: ann, with: arm, at: 20 C, file: evidence/o1.csv, gives: {length: 40.02}"
_M2 = "  M2: {of: O2, on: 2026-01-10, by: ann, with: arm, at: 20 C, file: evidence/o2.csv, gives: {length: 39.99}}\n"
_FIT = "on: 2026-02-05, by: ann, seen_by: bob, fits: saloon, gaps: {seat: [0.4, 0.5]}, result: good"
_DIE = "kind: die, forms: [length], price: 9000 USD, steps: {quoted: 2026-05-01}"
_DEMAND = "per_year: [100, 200, 300], price: 68 USD"

NO_CATALOGUE = Rule(
    "R201", "All catalogues are there", ERROR,
    "Records speak in the ids of the catalogues; without them nothing can be judged.",
    "write the file, or start a workspace with `pipeline init`",
    Example(files={"shared/people.yaml": None}), Example(),
)  # fmt: skip
WRONG_FOLDER = Rule(
    "R202", "A record lies in the folder of its number", ERROR,
    "The folder is how people and other records find it.",
    "rename the folder, or correct `part:`",
    Example("part: SD-101\n"), Example("part: SD-100\n"),
)  # fmt: skip
NUMBER_TWICE = Rule(
    "R203", "A number belongs to one record", ERROR,
    "Two records with one number each hold half of the truth.",
    "give one of them another number, or put both into one record",
    Example(files={"projects/SD-100b/part.yaml": "part: SD-100\nname: Other hook\nfamily: cast\nsafety: S0\nengineer: ann\n"
                   "fits: {a: {vehicle: finch, body: saloon, years: 1951}}\n"}),
    Example(files={"projects/SD-101/part.yaml": "part: SD-101\nname: Other hook\nfamily: cast\nsafety: S0\nengineer: ann\n"
                   "fits: {a: {vehicle: finch, body: saloon, years: 1951}}\n"}),
)  # fmt: skip
UNKNOWN_VEHICLE = Rule(
    "R204", "Vehicles and bodies are in shared/vehicles.yaml", ERROR,
    "Coverage is counted by vehicle and body; a misspelt one is a hole that nobody sees.",
    "correct it, or add it to shared/vehicles.yaml",
    Example("fits:\n  saloon: {vehicle: finsh, body: saloon, years: 1951-1955}\n"),
    Example("fits:\n  saloon: {vehicle: finch, body: saloon, years: 1951-1955}\n"),
)  # fmt: skip
YEARS_OUTSIDE = Rule(
    "R205", "Years lie within those of the body", WARNING,
    "A part cannot fit a vehicle in a year in which it was not built.",
    "correct the years here, or those of the body in shared/vehicles.yaml",
    Example("fits:\n  saloon: {vehicle: finch, body: saloon, years: 1941-1955}\n"),
    Example("fits:\n  saloon: {vehicle: finch, body: saloon, years: 1950-1956}\n"),
)  # fmt: skip
UNKNOWN_FAMILY = Rule(
    "R206", "The family is in shared/families.yaml", ERROR,
    "The family decides what each gate wants and what a change costs.",
    "correct it, or add the family",
    Example("family: casst\n"), Example("family: cast\n"),
)  # fmt: skip
UNKNOWN_PERSON = Rule(
    "R207", "People are in shared/people.yaml", ERROR,
    "Roles and second signatures are checked against that list.",
    "correct the id, or add the person",
    Example("engineer: anna\n"), Example("engineer: ann\n"),
)  # fmt: skip
UNKNOWN_FEATURE = Rule(
    "R208", "Features are named as they are defined", ERROR,
    "Evidence that names a feature nobody knows covers nothing.",
    "correct the id, or add the feature to `features`",
    Example(f"measurements:\n  M1: {{{_M.replace('length', 'lenght')}}}\n{_M2}"),
    Example(f"measurements:\n  M1: {{{_M}}}\n{_M2}"),
)  # fmt: skip
UNKNOWN_EVIDENCE = Rule(
    "R209", "Evidence names what it was made from", ERROR,
    "Without its ancestor nobody can tell whether it is still good.",
    "correct the id, or record what it was made from first",
    Example("prototypes:\n  P1: {of: Z, process: print, on: 2026-02-01}\n"),
    Example("prototypes:\n  P1: {of: A, process: print, on: 2026-02-01}\n"),
)  # fmt: skip
UNKNOWN_INTERFACE = Rule(
    "R210", "Interfaces are named as they are defined", ERROR,
    "A gap that belongs to no interface has no limits.",
    "correct the id, or add the interface to `interfaces`",
    Example(f"fit_checks:\n  F1: {{with: P1, car: car-1, {_FIT.replace('seat', 'seet')}}}\n"),
    Example(f"fit_checks:\n  F1: {{with: P1, car: car-1, {_FIT}}}\n"),
)  # fmt: skip
UNKNOWN_SUPPLIER = Rule(
    "R211", "Suppliers are in shared/suppliers.yaml", ERROR,
    "Quotes, expiries and promises are compared supplier by supplier.",
    "correct the id, or add the supplier",
    Example("route:\n  - {op: plate, what: nickel, at: platter, outside: true}\n"),
    Example("route:\n  - {op: plate, what: nickel, at: foundry, outside: true}\n"),
)  # fmt: skip
UNKNOWN_CATALOGUE_ENTRY = Rule(
    "R212", "Instruments, processes, tool kinds and vehicles for trials are in the catalogues", ERROR,
    "What an instrument can resolve and what a process can prove stands there.",
    "correct the id, or add the entry to the catalogue that is named",
    Example("prototypes:\n  P1: {of: A, process: whittling, on: 2026-02-01}\n"),
    Example("prototypes:\n  P1: {of: A, process: print, on: 2026-02-01}\n"),
)  # fmt: skip
UNKNOWN_PART = Rule(
    "R213", "Other parts exist", ERROR,
    "An assembly waits for its parts; one that does not exist is waited for in vain.",
    "correct the number, or start its record with `pipeline new`",
    Example("made_of:\n  lens: {part: SD-999}\n"), Example("made_of:\n  lens: {bought: lens, from: [foundry]}\n"),
)  # fmt: skip
UNKNOWN_TOOL = Rule(
    "R214", "Tools are named as they are defined", ERROR,
    "A change is followed from tool to tool by these names.",
    "correct the id, or add the tool to `tools`",
    Example(f"tools:\n  die: {{{_DIE}}}\n  gauge: {{kind: gauge, made_to_fit: [dye]}}\n"),
    Example(f"tools:\n  die: {{{_DIE}}}\n  gauge: {{kind: gauge, made_to_fit: [die]}}\n"),
)  # fmt: skip
CYCLE = Rule(
    "R215", "Nothing descends from itself", ERROR,
    "Two things that each wait for the other are never done, and no change can be followed through them.",
    "take one of the links out",
    Example("tools:\n  die: {kind: die, forms: [length], made_to_fit: [mask], price: 9000 USD}\n"
            "  mask: {kind: gauge, made_to_fit: [die]}\n"),
    Example("tools:\n  die: {kind: die, forms: [length], price: 9000 USD}\n  mask: {kind: gauge, made_to_fit: [die]}\n"),
)  # fmt: skip
UNKNOWN_REQUIREMENT = Rule(
    "R216", "A waiver names a requirement of the gate policy", ERROR,
    "A waiver of something else sets nothing aside.",
    "write one of the requirements of shared/gates.yaml",
    Example("waivers:\n  - {of: fit-check.covrage, until: 2026-09-01, by: bob, risk: kim, exposure: 900 USD, "
            "instead: template, why: car away}\n"),
    Example("fits:\n  saloon: {vehicle: finch, body: saloon, years: 1951-1955}\n"
            "  estate: {vehicle: finch, body: estate, years: 1952-1955}\n"
            "waivers:\n  - {of: fit-check.coverage, until: 2026-09-01, by: bob, risk: kim, exposure: 900 USD, "
            "instead: template, why: car away}\n"),
)  # fmt: skip
ID_TWICE = Rule(
    "R217", "An id means one piece of evidence", ERROR,
    "Where P1 is both a prototype and a test, a statement that keeps P1 cannot be read.",
    "give one of them another id",
    Example("prototypes:\n  F1: {of: A, process: print, on: 2026-02-01}\n"
            "fit_checks:\n  F1: {with: F1, on: 2026-02-05, by: ann, seen_by: bob, car: car-1, fits: saloon, "
            "gaps: {seat: [0.4, 0.5]}, result: good}\n"),
    Example(),
)  # fmt: skip
HAND_MISSING = Rule(
    "R218", "A part with hands says which hand was tried", WARNING,
    "A left one proves no right one; a trial that does not say counts for neither.",
    "add `hand: left` or `hand: right`",
    Example("hands: {left: SD-100-L, right: SD-100-R, relation: mirror}\n"),
    Example("hands: {left: SD-100-L, right: SD-100-R, relation: mirror}\n"
            f"fit_checks:\n  F1: {{with: P1, car: car-1, hand: left, {_FIT}}}\n"
            f"  F2: {{with: P1, car: car-1, hand: right, {_FIT}}}\n"),
)  # fmt: skip
WRONG_CAR = Rule(
    "R219", "The vehicle of a trial is one of the application", ERROR,
    "A saloon proves nothing for a drophead, nor a car of another year.",
    "correct `car` or `fits`",
    Example(f"fit_checks:\n  F1: {{with: P1, car: car-2, {_FIT}}}\n"),
    Example(f"fit_checks:\n  F1: {{with: P1, car: car-1, {_FIT}}}\n"),
)  # fmt: skip
NO_RATE = Rule(
    "R220", "Other currencies have a dated rate", ERROR,
    "Amounts of two currencies are never added without a rate, its day and its source.",
    "add the rate to shared/money.yaml",
    Example(f"demand: {{{_DEMAND.replace('USD', 'CHF')}}}\n"), Example(f"demand: {{{_DEMAND}}}\n"),
)  # fmt: skip
UNKNOWN_REGULATION = Rule(
    "R221", "Regulations are in shared/safety.yaml", ERROR,
    "A review names what it looked at, by the ids of that list.",
    "correct the id, or add the regulation",
    Example('safety_review: {on: 2026-01-05, by: bob, regulations: [lamp], plan: at the laboratory}\n'),
    Example('safety_review: {on: 2026-01-05, by: bob, regulations: [lamps], plan: at the laboratory}\n'),
)  # fmt: skip
UNKNOWN_PROOF = Rule(
    "R222", "The catalogues agree with each other", ERROR,
    "A process that proves something nobody asks for, or a family with a tool kind nobody knows, is a slip.",
    "correct the id in the catalogue",
    Example(files={"shared/processes.yaml": "proofs: {size: dimensions, fit: fit}\nneeds: {size: size, hardness: hardnes}\n"
                   "processes: {print: {name: printed sample, proves: [size, fit]}}\n"}),
    Example(),
)  # fmt: skip

RULES = (
    NO_CATALOGUE, WRONG_FOLDER, NUMBER_TWICE, UNKNOWN_VEHICLE, YEARS_OUTSIDE, UNKNOWN_FAMILY, UNKNOWN_PERSON,
    UNKNOWN_FEATURE, UNKNOWN_EVIDENCE, UNKNOWN_INTERFACE, UNKNOWN_SUPPLIER, UNKNOWN_CATALOGUE_ENTRY, UNKNOWN_PART,
    UNKNOWN_TOOL, CYCLE, UNKNOWN_REQUIREMENT, ID_TWICE, HAND_MISSING, WRONG_CAR, NO_RATE, UNKNOWN_REGULATION,
    UNKNOWN_PROOF,
)  # fmt: skip
