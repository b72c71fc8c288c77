"""What all records share: vehicles, families, gates, tools, processes, resources, suppliers, people, money, safety."""

from typing import Annotated, Self

from pydantic import BeforeValidator, Field, model_validator

from pipeline.model.edition import Editions
from pipeline.model.quantity import (
    CurrencyCode,
    Day,
    Frozen,
    Key,
    Limits,
    NotNegative,
    Positive,
    PositiveRange,
    Range,
    Share,
    Text,
    Unit,
    Years,
    build_error,
    refuse_non_number,
)
from pipeline.model.words import (
    ChangeClass,
    FailureMode,
    FeatureKind,
    Gate,
    LadderStage,
    Role,
    SafetyLevel,
)

Keys = tuple[Key, ...]
Quarter = Annotated[str, Field(pattern=r"^\d{4}-Q[1-4]$")]
_USUAL_WEEKS = Range.model_construct(low=4.0, likely=8.0, high=16.0)
_PIECE_SPREAD = Range.model_construct(low=0.97, likely=1.0, high=1.1)
_TOOL_SPREAD = Range.model_construct(low=1.0, likely=1.0, high=1.2)
_WEEKS_SPREAD = Range.model_construct(low=0.9, likely=1.0, high=1.5)
"""Defaults that are made without a validator: a hook that checks one record must not build each of them anew."""
DrawRatio = Annotated[float, Field(gt=0, lt=1), BeforeValidator(refuse_non_number)]
"""Width of a cup over what it is drawn from: narrower, and not nothing."""
RequirementId = Annotated[str, Field(pattern=r"^[a-z]+(?:-[a-z]+)?\.[a-z][a-z-]*$")]


class Shop(Frozen):
    """The maker: shared/shop.yaml."""

    name: Text
    note: Text | None = None
    as_of: Day | None = Field(
        default=None, description="demo only: the day that the site speaks of; real work leaves it out"
    )
    site: Text | None = Field(default=None, description="address where the site is served, for QR codes and feeds")
    review_every_days: Annotated[int, Field(ge=1, le=365)] = 7
    quote_warning_days: Annotated[int, Field(ge=1, le=365)] = 30
    late_record_days: Annotated[int, Field(ge=1, le=365)] = 21
    interval: Share = Field(default=0.95, description="confidence of intervals")
    gauge_share: Share = Field(
        default=0.3, description="most that a gauge may take of a tolerance (common practice: 0.1 wanted, 0.3 at most)"
    )
    capability_wanted: NotNegative = Field(
        default=1.33, description="Cpk that a run of pieces should reach (common practice)"
    )
    temperature_within: NotNegative = Field(
        default=1.0, description="how far the temperature of a part may be from the one recorded, in C"
    )


class Body(Frozen):
    """A body style of a vehicle and the years it was built."""

    name: Text
    years: Years


class Vehicle(Frozen):
    """A vehicle model and its bodies."""

    name: Text
    bodies: dict[Key, Body] = Field(min_length=1)


class Car(Frozen):
    """A real vehicle on which parts are tried."""

    vehicle: Key
    body: Key
    year: Annotated[int, Field(ge=1880, le=2030)]
    note: Text | None = None
    days_per_week: NotNegative = 1.0


class Vehicles(Frozen):
    """shared/vehicles.yaml."""

    vehicles: dict[Key, Vehicle] = Field(min_length=1)
    cars: dict[Key, Car] = Field(default_factory=dict)


class NeedParameters(Frozen):
    """How much of one requirement a gate wants."""

    least: NotNegative | None = None
    wanted: NotNegative | None = None
    share: Share | None = None
    days: NotNegative | None = None
    for_: tuple[SafetyLevel, ...] = Field(
        default=(), alias="for", description="only for these safety classes; all, if empty"
    )
    off: bool = False


class ErrorPrior(Frozen):
    """Errors in a first model of one failure mode: gamma shape `a`, rate `b` (mean a/b)."""

    a: Positive
    b: Positive


class RedoDefaults(Frozen):
    """Hours and money that redoing a stage takes, in workspace currency."""

    remeasure_h: NotNegative
    remodel_h: NotNegative
    reprint: NotNegative
    fit_h: NotNegative = Field(description="hours at each vehicle")
    fit_hire: NotNegative = Field(description="hire of vehicles, once")
    requote_h: NotNegative
    tool_redesign: NotNegative = Field(description="redesign of a tool that is ordered and not cut")
    redesign_share: Share = Field(default=0.1, description="most that a redesign takes, as a share of the tool's price")
    setup: NotNegative = Field(description="set-up and samples of a first article")
    plating_trial: NotNegative = 0.0
    inspect_h: NotNegative
    weeks: dict[LadderStage, NotNegative] = Field(
        default_factory=dict, description="weeks to recover, by the stage at which a change is found"
    )


class Expansion(Frozen):
    """How a material grows with temperature."""

    per_k: PositiveRange = Field(description="coefficient of linear expansion, 1e-6 per K: steel is [11, 11.7, 12.5]")
    source: Text = "common practice, no source"


class Family(Frozen):
    """A process family: how its parts are made, how its tools are wrong, what its checks must prove."""

    name: Text
    tool_kinds: Keys = ()
    plated: bool = False
    mix: dict[ChangeClass, Share] = Field(default_factory=dict, description="how often each class of change is needed")
    redo: RedoDefaults
    errors: dict[FailureMode, ErrorPrior] = Field(default_factory=dict)
    needs: dict[RequirementId, NeedParameters] = Field(default_factory=dict, description="changes to the gate policy")
    weeks: dict[Gate, PositiveRange] = Field(default_factory=dict, description="usual length of each stage")
    shrinkage: Range | None = None
    expansion: Expansion | None = Field(
        default=None, description="of its usual material; readings are brought to 20 C with it"
    )
    draw_ratios: tuple[DrawRatio, ...] = Field(
        default=(), description="ratio of each draw, first draw first; the last one goes for all that follow"
    )
    cautions: tuple[Text, ...] = ()

    @model_validator(mode="after")
    def _check_mix(self) -> Self:
        if self.mix and abs(sum(self.mix.values()) - 1) > 1e-9:
            raise build_error(
                "contradiction", f"the mix of change classes adds up to {sum(self.mix.values()):.3f}, not to 1"
            )
        return self

    @model_validator(mode="after")
    def _check_draws(self) -> Self:
        if len(self.draw_ratios) == 1:
            raise build_error("contradiction", "draw_ratios has the first draw only; add the ratio of the redraws")
        return self


class GatePolicy(Frozen):
    """Who decides a gate and what it wants."""

    decided_by: tuple[Role, ...] = Field(min_length=1)
    second_signature: bool = False
    needs: dict[RequirementId, NeedParameters] = Field(min_length=1)


class Gates(Frozen):
    """shared/gates.yaml."""

    gates: dict[Gate, GatePolicy]
    release: GatePolicy = Field(description="who releases tooling money")
    cannot_be_waived: tuple[RequirementId, ...] = ()
    safety: dict[SafetyLevel, dict[RequirementId, NeedParameters]] = Field(default_factory=dict)

    @model_validator(mode="after")
    def _check_all_gates(self) -> Self:
        missing = [gate.value for gate in Gate if gate not in self.gates]
        if missing:
            raise build_error("contradiction", f"no policy for the gate {', '.join(missing)}")
        return self


class ClassFactor(Frozen):
    """Share of the tool's price, and weeks, of one class of change."""

    share: PositiveRange
    weeks: PositiveRange
    source: Text = "common practice, no source"


class ToolKind(Frozen):
    """What a kind of tool is, and what changing it takes."""

    name: Text
    remade: bool = Field(
        default=False, description="soft: remade whole instead of changed (masks, patterns, soft gauges)"
    )
    gauge: bool = False
    trims: bool = Field(default=False, description="cuts the edge only: a change drags no other station")
    wears: bool = Field(default=True, description="wears out by shots; false for gauges, jigs and holding fixtures")
    life_shots: Annotated[int, Field(gt=0)] | None = None
    weeks: PositiveRange = _USUAL_WEEKS
    changes: dict[ChangeClass, ClassFactor] = Field(default_factory=dict)


class ToolKinds(Frozen):
    """shared/tool_kinds.yaml."""

    kinds: dict[Key, ToolKind] = Field(min_length=1)


class Process(Frozen):
    """A way to build or test a sample, and what it can prove."""

    name: Text
    proves: Keys = Field(description="what it can prove; never anything else")
    laboratory: bool = Field(default=False, description="needs a competent laboratory or a licensed engineer")
    coated: bool = False
    cost: NotNegative = 0.0
    weeks: NotNegative = 0.0
    detects: dict[FailureMode, Share] = Field(default_factory=dict, description="chance to find an error of each mode")
    families: Keys = Field(default=(), description="families for which it is worth offering; all, if left out")
    kinds: tuple[FeatureKind, ...] = Field(
        default=(), description="feature kinds for which it is worth offering; all that it can prove, if left out"
    )


class Processes(Frozen):
    """shared/processes.yaml."""

    proofs: dict[Key, Text] = Field(min_length=1, description="everything that can be proven, with what it means")
    needs: dict[FeatureKind, Key] = Field(description="which proof a feature of a kind wants")
    processes: dict[Key, Process] = Field(min_length=1)
    fit_check: dict[FailureMode, Share] = Field(
        default_factory=dict, description="chance that a fit check finds an error"
    )


class StudiedSpread(Frozen):
    """What a gauge study found of an instrument: standard deviations of one reading, with their degrees of freedom."""

    of: Annotated[str, Field(pattern=r"^[A-Z0-9][A-Z0-9-]{1,23}/[A-Za-z0-9][A-Za-z0-9_.-]{0,39}$")] = Field(
        description="the study, e.g. TW-171/G1"
    )
    repeatability: Positive = Field(description="scatter of one reading of one person (equipment variation)")
    dof: Annotated[int, Field(ge=1)] = Field(description="degrees of freedom of the repeatability")
    reproducibility: NotNegative = Field(default=0.0, description="scatter between people, interaction included")
    people: Annotated[int, Field(ge=1)] = 1
    unit: Unit = "mm"

    @model_validator(mode="after")
    def _check_people(self) -> Self:
        if self.reproducibility > 0 and self.people < 2:
            raise build_error("contradiction", "one person shows no reproducibility: say how many `people` read")
        return self


class Instrument(Frozen):
    """What a measurement was made with."""

    name: Text
    mpe_mm: Positive | None = Field(default=None, description="maximum permissible error (half-width), mm")
    mpe_per_m: NotNegative = Field(default=0.0, description="part that grows with length, mm per metre")
    calibrated: Day
    due: Day
    certificate: Text | None = None
    measures: tuple[FeatureKind, ...] = ()
    studies: dict[FeatureKind, StudiedSpread] = Field(
        default_factory=dict, description="by kind of feature: what a gauge study found, for single readings"
    )
    resource: Key | None = None


class Resource(Frozen):
    """A person's week, an arm, a printer, a plater's slot: anything parts queue for."""

    name: Text
    hours_per_week: NotNegative
    used_in: tuple[Gate, ...] = ()
    families: Keys = Field(default=(), description="families whose parts take it; all, if left out")
    hours_each: PositiveRange | None = Field(default=None, description="hours that one part takes of it in a stage")
    limit: Annotated[int, Field(ge=1)] | None = Field(default=None, description="most parts in work at once")


class Resources(Frozen):
    """shared/resources.yaml."""

    resources: dict[Key, Resource] = Field(default_factory=dict)
    instruments: dict[Key, Instrument] = Field(default_factory=dict)


class Supplier(Frozen):
    """Who quotes, cuts, plates or tests."""

    name: Text
    does: Keys = ()
    country: Text | None = None
    accredited: Text | None = Field(default=None, description="scope of a laboratory's accreditation")
    promised_weeks: Positive | None = None


class Suppliers(Frozen):
    """shared/suppliers.yaml."""

    suppliers: dict[Key, Supplier] = Field(default_factory=dict)


class Person(Frozen):
    """Who may do and sign what."""

    name: Text
    roles: tuple[Role, ...] = Field(min_length=1)
    emails: tuple[Text, ...] = ()
    until: Day | None = Field(default=None, description="last day in the shop")


class People(Frozen):
    """shared/people.yaml."""

    people: dict[Key, Person] = Field(min_length=1)


class Rate(Frozen):
    """One unit of a currency in workspace currency, on a day, from a source."""

    money: CurrencyCode
    on: Day
    rate: Positive
    source: Text


class QuoteBounds(Frozen):
    """Between what a quote's silence is taken to lie, `[best, worst]` whichever way round: never zero by silence."""

    yield_: Limits | None = Field(default=None, alias="yield")
    weeks: Limits | None = None
    freight: Limits | None = Field(default=None, description="per piece, as a share of the piece price")
    secondary: Limits | None = Field(default=None, description="per piece, as a share of the piece price")
    duty: Limits | None = None
    tool_duty: Limits | None = None
    samples: Limits | None = Field(default=None, description="as a share of the tool's price")
    least_order: Limits | None = None
    life_shots: Limits | None = Field(default=None, description="as a share of the tool kind's usual life")
    refurbish_every: Limits | None = Field(default=None, description="as a share of the tool's life")
    refurbishment: Limits | None = Field(default=None, description="as a share of the tool's price")


class Beliefs(Frozen):
    """What is believed of errors and money until the shop's own cases say better: common practice, no source."""

    prior_worth: Positive = Field(default=5.0, description="closed parts that a family's usual errors count for")
    shown_share: Annotated[float, Field(gt=0, le=1), BeforeValidator(refuse_non_number)] = Field(
        default=0.9, description="share of a released part's errors that have shown themselves"
    )
    unrecorded_look: Annotated[float, Field(gt=0, lt=1), BeforeValidator(refuse_non_number)] = Field(
        default=0.5, description="chance of a look that found an error and that nobody wrote down as a check"
    )
    fit_weeks: NotNegative = Field(default=1.5, description="weeks to try a sample on all its vehicles")
    between_shops: Positive = Field(default=0.3, description="spread of a shop's own mean, log(actual / predicted)")
    single_changes: Positive = Field(default=0.4, description="scatter of single changes, log(actual / predicted)")
    scatter_worth: Positive = Field(default=6.0, description="recorded changes that this scatter counts for")
    interval: Annotated[float, Field(gt=0, lt=1), BeforeValidator(refuse_non_number)] = 0.9
    few_cases: Annotated[int, Field(ge=2, le=1000)] = Field(default=8, description="below this, cases are called few")
    milestones: dict[Text, Share] = Field(
        default_factory=lambda: {"order": 0.0, "first shots": 0.75, "approved finished samples": 0.9, "delivery": 1.0},
        description="when a payment falls due, as a share of the lead time",
    )
    not_stated: QuoteBounds = QuoteBounds.model_construct()
    piece_spread: PositiveRange = Field(default=_PIECE_SPREAD, description="what becomes of a quoted piece price")
    tool_spread: PositiveRange = Field(default=_TOOL_SPREAD, description="what becomes of a quoted tool price")
    weeks_spread: PositiveRange = Field(default=_WEEKS_SPREAD, description="what becomes of quoted weeks")


class MoneyRules(Frozen):
    """shared/money.yaml: currency, hourly rates, dated exchange rates, budgets by quarter, cost of money."""

    currency: CurrencyCode
    hourly: dict[Role, NotNegative]
    rates: tuple[Rate, ...] = ()
    rate_limit_days: Annotated[int, Field(ge=1, le=3650)] = 120
    budgets: dict[Quarter, NotNegative] = Field(default_factory=dict)
    carry_over: bool = True
    money_rate: Annotated[float, Field(ge=0, le=1), BeforeValidator(refuse_non_number)] = 0.1
    holding_rate: Annotated[float, Field(ge=0, le=1), BeforeValidator(refuse_non_number)] = 0.18
    lost_share: Share = 0.5
    critical_weight: Positive = Field(default=2.0, description="how much likelier an error is in a critical feature")
    downside_price: NotNegative = 0.25
    guard_factor: NotNegative = Field(
        default=0.822, description="guard band as a share of U (ISO 14253-1: 1.645 u = 0.822 U)"
    )
    ratio_least: Positive = 4.0
    ratio_wanted: Positive = 10.0
    either_or: tuple[Keys, ...] = Field(default=(), description="parts of which at most one is tooled")
    beliefs: Beliefs = Beliefs.model_construct()


class Regulation(Frozen):
    """A published requirement to check; the program never says that a part meets it."""

    system: Text
    number: Text
    subject: Text
    parts: Text
    seen: Text = Field(description="whether the text was seen or is from memory")
    note: Text | None = None


class SafetyClass(Frozen):
    """What a safety class means and what it asks for."""

    name: Text
    meaning: Text
    caution: Text


class Safety(Frozen):
    """shared/safety.yaml."""

    classes: dict[SafetyLevel, SafetyClass]
    regulations: dict[Key, Regulation] = Field(default_factory=dict)
    hazards: dict[Key, Text] = Field(default_factory=dict, description="hazards in originals, and the usual care")
    cautions: tuple[Text, ...] = ()


class Families(Frozen):
    """shared/families.yaml."""

    families: dict[Key, Family] = Field(min_length=1)


class Catalogues(Frozen):
    """All of shared/. `editions` is None where its file is there and cannot be used: then no part leaves the house."""

    shop: Shop
    vehicles: Vehicles
    families: Families
    gates: Gates
    tool_kinds: ToolKinds
    processes: Processes
    resources: Resources
    suppliers: Suppliers
    people: People
    money: MoneyRules
    safety: Safety
    editions: Editions | None = Editions.model_construct()


CATALOGUE_FILES: dict[str, type[Frozen]] = {
    "shop": Shop,
    "vehicles": Vehicles,
    "families": Families,
    "gates": Gates,
    "tool_kinds": ToolKinds,
    "processes": Processes,
    "resources": Resources,
    "suppliers": Suppliers,
    "people": People,
    "money": MoneyRules,
    "safety": Safety,
}
"""Name of each file in shared/ (without .yaml) and the type of what it holds."""

OPTIONAL_CATALOGUES: dict[str, type[Frozen]] = {"editions": Editions}
"""The same for files that a workspace may do without. One that cannot be used stops nothing but what needs it."""
