"""One part: what it fits, what was measured, what was built, tried, quoted, cut, decided and set aside."""

from typing import Annotated, Literal, Self

from pydantic import BeforeValidator, Field, model_validator

from pipeline.model.catalogue import Expansion, Quarter
from pipeline.model.quantity import (
    Count,
    CurrencyCode,
    Day,
    EvidencePath,
    Frozen,
    Key,
    Limits,
    NotNegative,
    Number,
    PartNumber,
    Positive,
    PositiveRange,
    Price,
    Range,
    Share,
    Temperature,
    Text,
    Unit,
    Years,
    build_error,
    refuse_non_number,
)
from pipeline.model.words import (
    ChangeClass,
    Condition,
    FailureMode,
    FeatureKind,
    Gate,
    Hand,
    HandRelation,
    LadderStage,
    Result,
    SafetyLevel,
    Say,
    ToolOwner,
    ToolStep,
    Wear,
)

Keys = tuple[Key, ...]


class Application(Frozen):
    """A vehicle, a body and the years that the part fits."""

    vehicle: Key
    body: Key
    years: Years
    since: Day | None = Field(
        default=None,
        description="day on which it was added, after gates were decided: decisions of earlier days are not judged "
        "by it",
    )


class Hands(Frozen):
    """The left and the right number, and how the two relate."""

    left: PartNumber
    right: PartNumber
    relation: HandRelation
    except_: Keys = Field(default=(), alias="except", description="features that are not mirrored")
    modelled: Literal["left", "right"] = Field(
        default="left", description="the hand that the model files show; a scan of the other one is mirrored first"
    )

    @model_validator(mode="after")
    def _check_relation(self) -> Self:
        if (self.relation is HandRelation.MIRROR_EXCEPT) != bool(self.except_):
            raise build_error(
                "contradiction",
                "`except` lists the features that differ: it goes with relation mirror-except, and only there",
            )
        return self


class Supersession(Frozen):
    """An older number that this part replaces, from a day on."""

    number: PartNumber
    on: Day
    why: Text | None = None


class Marking(Frozen):
    """Serial or date marking, or a maker's mark, on the part."""

    kind: Literal["serial", "date", "maker", "none"]
    text: Text | None = None
    where: Text | None = None
    rights: Text | None = Field(
        default=None, description="who holds the mark or the design, and that its use was cleared"
    )


class Original(Frozen):
    """A surviving part that was measured."""

    condition: Condition
    hand: Hand = Hand.NONE
    from_: Text = Field(alias="from", description="provenance: where it came from")
    note: Text | None = None
    hazard: Text | None = Field(
        default=None, description="asbestos, radium, lead, cadmium, hexavalent chromium, mercury ..."
    )
    returned: Day | None = None


class Feature(Frozen):
    """A dimension or property with a nominal and limits. Limits are deviations from the nominal, in the same unit."""

    what: Text
    kind: FeatureKind
    nominal: Number
    limits: Limits | None = Field(default=None, description="deviations; left out where `tolerance` names their class")
    unit: Unit
    critical: bool = False
    since: Day | None = Field(
        default=None,
        description="day on which it was added, or became critical, after gates were decided: decisions of earlier "
        "days are not judged by it",
    )
    wear: Wear = Wear.NONE
    coated: bool = Field(default=False, description="measured over a plating or a paint")
    coating: Key | None = Field(
        default=None, description="the feature that gives the thickness of that coating, per face"
    )
    wrong: tuple[ChangeClass, ...] = Field(
        default=(), description="which changes of the tool it would need, likeliest first"
    )
    tolerance: Text | None = Field(
        default=None,
        description="class that gives the limits: of ISO 286 (H7, g6), ISO 2768-1 (ISO 2768-m) or ISO 8062-3 (DCTG 6)",
    )
    shape: Literal["hole", "shaft", "face", "thread", "free"] = "free"


class GapLimits(Frozen):
    """Limits of a gap (positive) or an interference (negative)."""

    limits: Limits
    unit: Unit = "mm"


class Contributor(Frozen):
    """One signed link of a stack: a feature of this part, a stated dimension of the vehicle, or a coating."""

    feature: Key | None = None
    name: Text | None = None
    coating: Key | None = None
    nominal: Number | None = None
    limits: Limits | None = None
    tolerance: Text | None = Field(
        default=None, description="class that gives the limits of a stated dimension, e.g. g6"
    )
    sign: Number = 1.0
    faces: Annotated[int, Field(ge=1, le=4)] = 1
    shape: Literal["normal", "uniform", "triangular"] = "normal"

    @model_validator(mode="after")
    def _check_one_source(self) -> Self:
        if sum(x is not None for x in (self.feature, self.name, self.coating)) != 1:
            raise build_error("contradiction", "a link of a stack names one of feature, coating or name")
        if self.name is not None and (self.nominal is None or (self.limits is None and self.tolerance is None)):
            raise build_error("contradiction", f'the link "{self.name}" needs nominal and limits')
        if self.limits is not None and self.tolerance is not None:
            raise build_error(
                "contradiction", f'the link "{self.name}" states limits and a class; take one of them out'
            )
        if self.name is None and (self.nominal, self.limits, self.tolerance) != (None, None, None):
            raise build_error("contradiction", "nominal and limits of a feature or a coating stand with the feature")
        if self.sign == 0:
            raise build_error("contradiction", "sign 0 takes the link out of the stack")
        return self


class Interface(Frozen):
    """Where the part meets the vehicle or another part."""

    what: Text
    gap: GapLimits
    stack: tuple[Contributor, ...] = ()
    features: Keys = Field(default=(), description="features that decide the gap, where no stack is given")
    meets: PartNumber | None = Field(default=None, description="the other part, if it is one of ours")
    since: Day | None = Field(
        default=None,
        description="day on which it was added, after gates were decided: decisions of earlier days are not judged "
        "by it",
    )


class Reading(Frozen):
    """One measured value, with what is known of its spread. A bare number is a reading too."""

    value: Number
    unit: Unit | None = None
    readings: tuple[Number, ...] = Field(default=(), max_length=1_000)
    u: Positive | None = Field(
        default=None, alias="U", description="expanded uncertainty (95 %), if the arm's report states it"
    )
    fit: Literal["least squares", "minimum zone", "two-point", "linear", "algebraic"] | None = None
    worn: bool = False

    @model_validator(mode="before")
    @classmethod
    def _parse(cls, value: object) -> object:
        if isinstance(value, dict):
            readings = value.get("readings")
            return {**value, "readings": tuple(readings)} if isinstance(readings, list) else value
        return value if isinstance(value, Reading) else {"value": refuse_non_number(value)}


class Measurement(Frozen):
    """What was read from one original, with what, by whom, at which temperature."""

    of: Key
    on: Day
    by: Key
    with_: Key = Field(alias="with", description="instrument")
    at: Temperature
    file: EvidencePath | None = None
    gives: dict[Key, Reading] = Field(min_length=1)
    coating_off: bool = Field(default=False, description="the plating or paint was taken off before reading")
    replaces: Key | None = Field(default=None, description="the earlier measurement that this one replaces")
    hours: NotNegative | None = None


class NoEffect(Frozen):
    """A signed statement that a change does not touch named evidence."""

    features: Keys = Field(min_length=1, description="the changed features that it speaks of; no others are covered")
    keeps: Keys = Field(min_length=1, description="the evidence that stays good, e.g. [F1, F2, Q1]")
    by: Key
    on: Day
    why: Text
    seen_by: Key


class Revision(Frozen):
    """One issue of the model."""

    on: Day
    by: Key
    file: EvidencePath | None = None
    from_: Keys = Field(default=(), alias="from", description="measurements it was modelled from")
    changed: Keys | None = Field(default=None, description="features it changed against the revision before")
    why: Text | None = None
    no_effect: tuple[NoEffect, ...] = ()
    hours: NotNegative | None = None


class Prototype(Frozen):
    """A build of one revision by one process."""

    of: Key
    process: Key
    on: Day
    by: Key | None = Field(default=None, description="who made it: a person or a supplier")
    hand: Hand = Hand.NONE
    coated: bool = False
    cost: Annotated[float, Field(ge=0), BeforeValidator(refuse_non_number)] | None = None
    hours: NotNegative | None = None
    covers: Keys | None = Field(
        default=None, description="features it shows; all that its process can prove, if left out"
    )
    file: EvidencePath | None = None


class FitCheck(Frozen):
    """A prototype or sample tried on one vehicle."""

    with_: Key = Field(alias="with", description="the prototype or first article that was tried")
    on: Day
    by: Key
    seen_by: Key | None = None
    car: Key
    fits: Key = Field(description="application that it covers")
    hand: Hand = Hand.NONE
    gaps: dict[Key, tuple[Number, ...]] = Field(default_factory=dict)
    covers: Keys = Field(default=(), description="features checked besides those of the interfaces")
    result: Result
    file: EvidencePath | None = None
    hours: NotNegative | None = None
    cost: NotNegative | None = None
    note: Text | None = None


class Test(Frozen):
    """A test of a sample: hardness, plating, heat, load, torque, colour ..."""

    kind: Key
    of: Key = Field(description="prototype, first article or revision that was tested")
    on: Day
    by: Key
    at: Key | None = Field(default=None, description="laboratory or supplier")
    covers: Keys = Field(min_length=1)
    gives: dict[Key, Reading] = Field(default_factory=dict)
    result: Result
    valid_to: Day | None = None
    seen_by: Key | None = None
    file: EvidencePath | None = None
    cost: NotNegative | None = None


class Payment(Frozen):
    """A milestone and the share of the tooling price that it releases."""

    at: Literal["order", "first shots", "approved finished samples", "delivery"]
    share: Share


class Refurbishment(Frozen):
    """What keeps a tool going."""

    every: Annotated[int, Field(gt=0)] = Field(description="shots between refurbishments")
    cost: NotNegative


class Quote(Frozen):
    """One supplier's offer against one revision. Amounts are in `money`."""

    from_: Key = Field(alias="from")
    of: Key
    on: Day
    valid_to: Day | None = None
    money: CurrencyCode
    tools: dict[Key, NotNegative] = Field(default_factory=dict)
    pay: tuple[Payment, ...] = ()
    piece: dict[str, Positive] = Field(min_length=1, description="price of a piece by order quantity")
    weeks: Positive | None = None
    yield_: Annotated[float, Field(gt=0, le=1), BeforeValidator(refuse_non_number)] | None = Field(
        default=None, alias="yield"
    )
    least_order: Count | None = None
    order: Annotated[int, Field(gt=0, le=10**9)] | None = Field(
        default=None, description="pieces that you would order at a time from this maker; else as `demand` says"
    )
    life_shots: Annotated[int, Field(gt=0)] | None = None
    hands_per_set: Annotated[int, Field(ge=1, le=2)] = 1
    refurbish: Refurbishment | None = None
    freight: NotNegative | None = Field(default=None, description="per piece, in workspace currency")
    duty: Share | None = None
    tool_duty: Share | None = None
    secondary: NotNegative | None = Field(
        default=None, description="outside operations per piece, in workspace currency"
    )
    samples: NotNegative | None = None
    owns_tool: ToolOwner = ToolOwner.NOT_STATED
    storage: bool | None = Field(default=None, description="tool stored and insured by the supplier")
    drawings: bool | None = Field(default=None, description="tool drawings handed over")
    releases_tool: bool | None = Field(default=None, description="tool released against payment")
    not_wanted: Keys = Field(default=(), description="lines of the scope that are left out on purpose")
    covers: Keys | None = Field(default=None, description="features the price depends on; all, if left out")
    file: EvidencePath | None = None

    @model_validator(mode="after")
    def _check_dates_and_shares(self) -> Self:
        if self.valid_to is not None and self.valid_to < self.on:
            raise build_error("contradiction", f"valid_to {self.valid_to} is before the day of the quote, {self.on}")
        total = sum(p.share for p in self.pay)
        if self.pay and abs(total - 1) > 1e-9:
            raise build_error("contradiction", f"the payment shares add up to {total:.2f}, not to 1")
        for quantity in self.piece:
            if not quantity.isdecimal() or int(quantity) == 0:
                raise build_error(
                    "contradiction",
                    f'"{quantity}" is not an order quantity; write price breaks as {{800: 6.90, 3000: 6.10}}',
                )
        return self


class Shrinkage(Frozen):
    """Linear shrinkage of a mould or casting die: what was assumed, and what samples showed."""

    assumed: Annotated[Range, Field(description="linear, as a share: 0.005 is 0.5 %")]
    measured: Annotated[float, Field(ge=-0.05, le=0.15), BeforeValidator(refuse_non_number)] | None = None
    u: Positive | None = Field(default=None, alias="U")


class Tool(Frozen):
    """Anything made only to make the part: die, mould, draw die, trim die, paint mask, fixture, gauge, pattern."""

    kind: Key
    of: Key | None = Field(
        default=None, description="revision it is cut to; the one current when it was ordered, if left out"
    )
    forms: Keys = Field(default=(), description="features that the tool gives the part")
    checks: Keys = Field(default=(), description="features that the gauge checks")
    made_to_fit: tuple[Annotated[str, Field(pattern=r"^[A-Za-z0-9][A-Za-z0-9_./-]{0,64}$")], ...] = Field(
        default=(), description="tools whose parts it must fit: `die`, or `TW-160/die` of another part"
    )
    inserts: bool = Field(default=False, description="built with inserts that can be changed")
    station: Annotated[int, Field(ge=1, le=40)] | None = Field(default=None, description="place in a line of draw dies")
    price: Price | None = None
    by: Key | None = Field(default=None, description="toolmaker")
    owner: ToolOwner = ToolOwner.NOT_STATED
    place: Text | None = None
    life_shots: Annotated[int, Field(gt=0)] | None = None
    shots: Count | None = None
    cavities: Annotated[int, Field(ge=1, le=128)] = 1
    steps: dict[ToolStep, Day] = Field(default_factory=dict, description="day on which each state was reached")
    cut_planned: Day | None = None
    weeks: PositiveRange | None = None
    shrinkage: Shrinkage | None = None
    file: EvidencePath | None = None

    @property
    def state(self) -> ToolStep | None:
        """The last state reached, None if it is not even quoted."""
        reached = [step for step in ToolStep if step in self.steps]
        return reached[-1] if reached else None


class FirstArticle(Frozen):
    """Finished pieces off the production tool, with the process settings that made them."""

    tools: Keys = Field(min_length=1)
    of: Key = Field(description="revision")
    on: Day
    by: Key
    seen_by: Key | None = None
    pieces: Annotated[int, Field(ge=0, le=1000)] = Field(description="finished pieces of every cavity")
    finished: bool = Field(description="plated, painted, hardened: as they will be sold")
    hand: Hand = Hand.NONE
    settings: EvidencePath | None = Field(default=None, description="file with the process settings")
    gives: dict[Key, tuple[Number, ...]] = Field(default_factory=dict)
    covers: Keys = ()
    result: Result
    file: EvidencePath | None = None
    hours: NotNegative | None = None


class GaugeStudy(Frozen):
    """A study of how well an instrument tells the pieces apart: several people read several pieces several times."""

    feature: Key
    on: Day
    by: Key
    with_: Key = Field(alias="with", description="instrument that was studied")
    file: EvidencePath = Field(description="table part,appraiser,trial,value with `# unit: mm` above it")
    note: Text | None = None


class SampleRun(Frozen):
    """Consecutive pieces off the production tools, measured to see what the process can hold."""

    feature: Key
    tools: Keys = Field(min_length=1, description="tools that made them")
    of: Key = Field(description="revision")
    on: Day
    by: Key
    with_: Key = Field(alias="with", description="instrument")
    file: EvidencePath = Field(description="table value or piece,value in the order of making, `# unit: mm` above it")
    subgroup: Annotated[int, Field(ge=2, le=50)] | None = Field(
        default=None, description="pieces taken together each time; moving ranges of two, if left out"
    )
    note: Text | None = None


class Draws(Frozen):
    """A cup that is drawn: from which features its blank and the number of its draws follow."""

    diameter: Key = Field(description="feature: outside diameter of the cup")
    height: Key = Field(description="feature: height over all")
    wall: Key | None = Field(
        default=None, description="feature: thickness of the sheet; the mean line is reckoned with it"
    )
    trim: NotNegative = Field(default=0.0, description="left on the height for trimming, mm")


Place = tuple[Number, Number, Number]


class SightLine(Frozen):
    """A mirror on a vehicle: the glass, the eye and the rule that says what has to be seen.

    Places are x rearward, y outboard on the mirror's side, z up from the road, in mm.
    """

    hand: Hand = Hand.NONE
    fits: Key | None = Field(default=None, description="application whose eye points these are")
    glass: Place = Field(description="middle of the glass")
    aim_at: Place = Field(description="what the driver sees in the middle of the glass")
    width: Positive = Field(description="of the reflecting face, mm")
    height: Positive
    shape: Literal["rectangle", "ellipse"] = "rectangle"
    radius: Positive | None = Field(default=None, description="of curved glass, mm; flat, if left out")
    eyes: tuple[Place, ...] = Field(min_length=1, max_length=2, description="the driver's eye points")
    side: Number | None = Field(default=None, description="y of the vehicle's widest point on that side, mm")
    rear: Number | None = Field(default=None, description="x of the vehicle's rear end, mm; for inside mirrors")
    asks: Key = Field(
        description="published figure: us-111-driver, us-111-passenger, us-111-inside, un-46-class-iii-..."
    )


class Operation(Frozen):
    """One operation of the process route, in order."""

    op: Key
    what: Text
    at: Key | None = Field(default=None, description="resource or supplier")
    outside: bool = False
    weeks: PositiveRange | None = None
    uses: Keys = Field(default=(), description="tools it needs")
    draws: Draws | None = Field(default=None, description="the cup that this and the draws after it make")


class Component(Frozen):
    """A part of an assembly: one of ours, or bought in."""

    part: PartNumber | None = None
    bought: Text | None = None
    count: Annotated[int, Field(ge=1, le=10_000)] = 1
    from_: Keys = Field(default=(), alias="from", description="suppliers of a bought-in part")
    price: Price | None = None
    weeks: NotNegative | None = None

    @model_validator(mode="after")
    def _check_one_source(self) -> Self:
        if (self.part is None) == (self.bought is None):
            raise build_error("contradiction", "a component is either `part` (one of ours) or `bought`")
        return self


class Demand(Frozen):
    """What the market is thought to take, and at which price."""

    per_year: PositiveRange
    price: Price
    cost: Price | None = Field(default=None, description="landed cost of a piece, where no quote gives it")
    years: Annotated[int, Field(ge=1, le=30)] = 5
    ramp: Share = Field(default=1.0, description="share of a full year's sales in the first year")
    decay: Share = Field(default=0.0, description="share lost from year to year")
    lost_share: Share | None = Field(default=None, description="share of a delayed sale that is lost for good")
    order: Annotated[int, Field(gt=0, le=10**9)] | None = Field(
        default=None, description="pieces ordered at a time; a year's need, if left out"
    )
    takes_from: dict[PartNumber, Share] = Field(default_factory=dict, description="sales it takes from our own parts")


class SpendWish(Frozen):
    """What the owner has said about when the tooling money of this part is spent, or that it is not."""

    must: bool | None = Field(default=None, description="true: its tools are released whatever they earn; false: never")
    not_before: Quarter | None = Field(default=None, description="first quarter for the release, e.g. 2027-Q1")
    not_after: Quarter | None = Field(default=None, description="last quarter for the release")
    why: Text | None = None

    @model_validator(mode="after")
    def _check_window(self) -> Self:
        if self.not_before is not None and self.not_after is not None and self.not_before > self.not_after:
            raise build_error("contradiction", f"not_before {self.not_before} is later than not_after {self.not_after}")
        if self.must is False and (self.not_before is not None or self.not_after is not None):
            raise build_error("contradiction", "`must: false` keeps the tools out, so it goes with no quarter")
        return self


class Stock(Frozen):
    """Pieces on the shelf and in the field, that a change would strand."""

    pieces: Count
    unit_cost: NotNegative
    salvage: Share = 0.0
    in_field: Count = 0
    return_cost: NotNegative = 0.0


class Decision(Frozen):
    """Go, rework, hold or drop: for a gate, or the release of tooling money."""

    gate: Gate | None = None
    release: Literal["tooling"] | None = None
    on: Day
    by: Key
    say: Say
    why: Text | None = None
    second: Key | None = Field(default=None, description="second signature")
    choose: Key | None = Field(default=None, description="the quote that was chosen")

    @model_validator(mode="after")
    def _check_one_subject(self) -> Self:
        if (self.gate is None) == (self.release is None):
            raise build_error("contradiction", "a decision names either `gate` or `release: tooling`")
        return self


class Waiver(Frozen):
    """A requirement set aside: why, at whose risk, instead of what, until when."""

    of: Annotated[str, Field(pattern=r"^[a-z]+(?:-[a-z]+)?\.[a-z][a-z-]*$")] = Field(
        description="requirement, e.g. fit-check.coverage"
    )
    on: Day | None = None
    until: Day | Literal["before metal is cut", "first article"]
    by: Key
    risk: Key = Field(description="who carries the risk")
    exposure: Price
    instead: Text
    why: Text

    @model_validator(mode="before")
    @classmethod
    def _parse_until(cls, value: object) -> object:
        if isinstance(value, dict):
            until = value.get("until")
            if (
                isinstance(until, str)
                and not until[:1].isdigit()
                and until not in ("before metal is cut", "first article")
            ):
                raise build_error(
                    "contradiction",
                    f'until "{until}" is neither a day (2027-01-31) nor one of "before metal is cut", "first article"',
                )
        return value


class Change(Frozen):
    """An engineering change: where it was found, what it dragged along, what it cost."""

    found_at: LadderStage
    on: Day
    by: Key
    what: Text
    mode: FailureMode
    features: Keys = ()
    found_by: Key | None = Field(default=None, description="the check that found it, e.g. F1")
    fixed_in: Key | None = Field(default=None, description="revision that mends it")
    tool: Key | None = None
    class_: ChangeClass | None = Field(default=None, alias="class")
    predicted: Price | None = None
    actual: Price | None = None
    predicted_weeks: NotNegative | None = Field(default=None, description="weeks that it was thought to take")
    weeks: NotNegative | None = Field(default=None, description="weeks that it took, once it is closed")


class SafetyReview(Frozen):
    """Which regulations were looked at, by whom, and how the part will be tested."""

    on: Day
    by: Key
    regulations: Keys = Field(min_length=1, description="ids of shared/safety.yaml")
    plan: Text = Field(description="test plan, and the competent laboratory or licensed engineer who carries it out")
    file: EvidencePath | None = None


class RedoCost(Frozen):
    """What redoing costs for this part, where it differs from its family's default."""

    remeasure_h: NotNegative | None = None
    remodel_h: NotNegative | None = None
    reprint: NotNegative | None = None
    fit_h: NotNegative | None = None
    fit_hire: NotNegative | None = None
    requote_h: NotNegative | None = None
    tool_redesign: NotNegative | None = None
    plating_trial: NotNegative | None = None
    setup: NotNegative | None = None
    inspect_h: NotNegative | None = None


class Part(Frozen):
    """One record: everything that is known of one part in development."""

    part: PartNumber
    name: Text
    family: Key
    safety: SafetyLevel
    engineer: Key
    confidential: bool = Field(default=False, description="kept out of outer editions until the announcement day")
    announce: Day | None = None
    synthetic: bool = Field(default=False, description="made by the demo's generator")
    expansion: Expansion | None = Field(default=None, description="of its material, where its family's is not the one")
    opened: Day | None = Field(default=None, description="day on which work began, if before the first evidence")
    picture: EvidencePath | None = None
    note: Text | None = None
    hands: Hands | None = None
    fits: dict[Key, Application] = Field(min_length=1)
    supersedes: tuple[Supersession, ...] = ()
    marking: Marking | None = None
    originals: dict[Key, Original] = Field(default_factory=dict)
    features: dict[Key, Feature] = Field(default_factory=dict)
    interfaces: dict[Key, Interface] = Field(default_factory=dict)
    measurements: dict[Key, Measurement] = Field(default_factory=dict)
    revisions: dict[Key, Revision] = Field(default_factory=dict)
    prototypes: dict[Key, Prototype] = Field(default_factory=dict)
    fit_checks: dict[Key, FitCheck] = Field(default_factory=dict)
    tests: dict[Key, Test] = Field(default_factory=dict)
    quotes: dict[Key, Quote] = Field(default_factory=dict)
    route: tuple[Operation, ...] = ()
    tools: dict[Key, Tool] = Field(default_factory=dict)
    uses_tools: tuple[
        Annotated[str, Field(pattern=r"^[A-Z0-9][A-Z0-9-]{1,23}/[A-Za-z0-9][A-Za-z0-9_.-]{0,39}$")], ...
    ] = Field(default=(), description="tools kept in another part's record, e.g. [TW-160/die]")
    first_articles: dict[Key, FirstArticle] = Field(default_factory=dict)
    gauge_studies: dict[Key, GaugeStudy] = Field(default_factory=dict)
    sample_runs: dict[Key, SampleRun] = Field(default_factory=dict)
    sight_lines: dict[Key, SightLine] = Field(default_factory=dict)
    made_of: dict[Key, Component] = Field(default_factory=dict)
    demand: Demand | None = None
    plan: SpendWish | None = Field(default=None, description="the owner's word on when the tooling money is spent")
    stock: Stock | None = None
    redo: RedoCost | None = None
    safety_review: SafetyReview | None = None
    changes: dict[Key, Change] = Field(default_factory=dict)
    decisions: tuple[Decision, ...] = ()
    waivers: tuple[Waiver, ...] = ()
