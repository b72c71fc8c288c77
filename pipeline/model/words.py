"""The closed lists of words that records use.

Every value is a trade word, written in a record exactly as it stands here.
"""

from __future__ import annotations

from enum import StrEnum


class Gate(StrEnum):
    """The decision that ends a stage."""

    MEASURE = "measure"
    MODEL = "model"
    PROTOTYPE = "prototype"
    FIT_CHECK = "fit check"
    QUOTE = "quote"
    TOOLING = "tooling"


GATES: tuple[Gate, ...] = tuple(Gate)


class GateState(StrEnum):
    """Where a part stands on one gate. Derived, never written in a record."""

    NOT_STARTED = "not started"
    IN_WORK = "in work"
    READY = "ready for decision"
    PROVEN = "proven"
    STALE = "stale"
    HELD = "held"
    DROPPED = "dropped"


class Say(StrEnum):
    """What a decision says."""

    GO = "go"
    REWORK = "rework"
    HOLD = "hold"
    DROP = "drop"


class Condition(StrEnum):
    """Condition of a surviving original."""

    NOS = "nos"
    USED = "used"
    RESTORED = "restored"
    REPRODUCTION = "reproduction"


class Hand(StrEnum):
    """Which side of the vehicle a part or a trial belongs to."""

    LEFT = "left"
    RIGHT = "right"
    NONE = "none"


class HandRelation(StrEnum):
    """How the left and the right part relate."""

    MIRROR = "mirror"
    MIRROR_EXCEPT = "mirror-except"
    UNIQUE = "unique"


class FeatureKind(StrEnum):
    """What a feature is: a dimension, a form or a property."""

    SIZE = "size"
    DISTANCE = "distance"
    POSITION = "position"
    PROFILE = "profile"
    RUNOUT = "runout"
    FLATNESS = "flatness"
    ANGLE = "angle"
    THICKNESS = "thickness"
    HARDNESS = "hardness"
    COLOUR = "colour"
    FINISH = "finish"
    TORQUE = "torque"
    FORCE = "force"
    MASS = "mass"
    HEAT = "heat"
    FUNCTION = "function"
    MARKING = "marking"


class Wear(StrEnum):
    """The one direction in which wear moves a dimension."""

    NONE = "none"
    SHRINKS = "shrinks"
    GROWS = "grows"


class ChangeClass(StrEnum):
    """How a finished tool is changed."""

    METAL_OFF = "metal-off"
    WELD = "weld"
    INSERT = "insert"
    CAVITY_SET = "cavity-set"
    NEW_TOOL = "new-tool"


class ToolStep(StrEnum):
    """The states of a tool, in order."""

    QUOTED = "quoted"
    ORDERED = "ordered"
    CUTTING = "cutting"
    ON_TRIAL = "on trial"
    ACCEPTED = "accepted"


TOOL_STEPS: tuple[ToolStep, ...] = tuple(ToolStep)


class FailureMode(StrEnum):
    """What can be wrong with a first model."""

    DIMENSION = "dimension"
    FIT = "fit"
    FUNCTION = "function"
    APPEARANCE = "appearance"
    MATERIAL_PROCESS = "material-process"
    MARKING_LEGAL = "marking-legal"


class LadderStage(StrEnum):
    """The nine stages at which a change can be found."""

    MEASURE = "measure"
    MODEL = "model"
    PROTOTYPE = "prototype"
    FIT_CHECK = "fit check"
    QUOTE = "quote"
    TOOL_ORDERED = "tool ordered"
    TOOL_CUT = "tool cut"
    FIRST_ARTICLE = "first article"
    RELEASED = "released"


class Result(StrEnum):
    """How a trial, a test or a first article came out."""

    GOOD = "good"
    BAD = "bad"
    OPEN = "open"


class SafetyLevel(StrEnum):
    """S0 cosmetic; S1 affects control, vision or occupants; S2 critical."""

    S0 = "S0"
    S1 = "S1"
    S2 = "S2"


class Role(StrEnum):
    """What a person may decide or sign."""

    LEAD = "lead"
    ENGINEER = "engineer"
    OWNER = "owner"
    BUYER = "buyer"
    LABORATORY = "laboratory"
    LICENSED_ENGINEER = "licensed engineer"
    WORKSHOP = "workshop"


class ToolOwner(StrEnum):
    """Who owns a tool once it is paid for."""

    US = "us"
    SUPPLIER = "supplier"
    SHARED = "shared"
    NOT_STATED = "not stated"
