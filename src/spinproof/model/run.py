"""A run: one execution of a recipe with a load on a head."""

from enum import StrEnum
from typing import Annotated

from pydantic import Field

from spinproof.model.channel_map import ChannelMap
from spinproof.model.head import HeadSpec
from spinproof.model.load import Load
from spinproof.model.noun import Name, Noun
from spinproof.model.recipe import Recipe


class Purpose(StrEnum):
    """Why a run is made."""

    BURN_IN = "burn-in"
    WITNESS = "witness"
    """The source inspection: the customer's own recipe, filmed and narrated."""
    TRIAL = "trial"
    """Counts for nothing, but is kept."""


class Outcome(StrEnum):
    """What became of a run."""

    COUNTED = "counted"
    RELEVANT_FAILURE = "relevant failure"
    INVALID_OUTSIDE = "invalid (outside cause)"
    INVALID_OPERATOR = "invalid (operator)"
    ABORTED = "aborted"


class Ending(StrEnum):
    """How a recording ended."""

    COMPLETE = "complete"
    """The stand reported the end of the run, and every block of it was read."""
    INTERRUPTED = "interrupted"
    """The recorder died or lost its power; recovered at the next start."""
    STAND_LOST = "stand lost"
    """The stand stopped answering in mid-run."""
    NEVER_FINISHED = "never finished"
    """The run did not end within the time its recipe could need."""
    IMPORTED = "imported"
    """Recorded elsewhere and taken in from a file."""


class IncidentKind(StrEnum):
    """What a recording noticed about itself."""

    GAP = "gap"
    """Samples are missing; ``size`` is their number."""
    DUPLICATE = "duplicate"
    """Samples came twice; ``size`` is their number."""
    OUT_OF_ORDER = "out of order"
    """A block came before its turn and was put in its place; ``size`` is its samples."""
    LATE = "late"
    """A block came too late to be merged, and is kept aside; ``size`` is its samples."""
    CLOCK_STEP = "clock step"
    """The device's clock jumped; ``size`` is the jump. [s]"""
    ROLL_OVER = "roll-over"
    """A counter passed its largest value; ``size`` is how often."""
    COUNTER_RESET = "counter reset"
    """A counter of pulses went back further than the rotor can turn; ``size`` is how often."""
    MISSING = "missing readings"
    """A channel had no reading, or one that is not a number; ``size`` is how many."""
    PULSES_REPAIRED = "pulses repaired"
    """A tach lost pulses or saw them twice; ``size`` is how many were put right by the judge."""
    SOURCE = "source"
    """What a source of a stream had to say, in its words; ``size`` is how often."""
    RATE = "rate"
    """A stream comes at another rate than the map says; ``size`` is the rate that came. [Hz]"""
    DISAGREEMENT = "disagreement"
    """Two sources do not agree on the speed; ``size`` is how far they are apart. [rpm]"""
    FROZEN = "frozen sensor"
    """A channel repeated one reading while the run went on; ``size`` is for how long. [s]"""
    SPIKE = "spike"
    """Single readings stand out from their neighbours; ``size`` is how many. They are kept."""
    TORN_TAIL = "torn tail"
    """The journal ended inside a frame; ``size`` is the number of bytes left out."""


class Incident(Noun):
    """Something that a recording noticed about itself, kept with the trace."""

    kind: IncidentKind
    time_s: float
    """Seconds since the start of the trace. [s]"""
    size: float
    """How large it is, in the unit that its kind states."""
    channel: str | None = None
    text: str
    """The incident in plain words."""


class RunHeader(Noun):
    """What was known about a run before its first sample, and is sealed with its trace."""

    schema_version: Annotated[str, Field(pattern="^spinproof.run.v1$")] = "spinproof.run.v1"
    run: Name
    """Identity of the run, for example QA-1041-L-017."""
    purpose: Purpose
    recipe: Recipe
    head: HeadSpec
    load: Load
    channel_map: ChannelMap
    started_at: str
    """UTC, RFC 3339 with milliseconds and Z."""
    source: Name
    """What the samples came from: "modbus-tcp", or the kind of file."""
    stand_identity: str
    """What the stand says it is."""
    simulated: bool
    """Whether the samples come from the virtual head."""
    recorder_version: Name
    configuration: str | None = None
    """Configuration fingerprint of the head at the start, SHA-256 in hex."""
