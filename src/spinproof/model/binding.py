"""Binding proofs: that the channels of a map belong to the head that it names."""

from enum import StrEnum
from typing import Annotated

from pydantic import Field

from spinproof.model.channel import Role
from spinproof.model.noun import Name, NotNegative, Noun


class Stimulus(StrEnum):
    """What was done to the head, while everything else stood still."""

    TURNED = "turned by hand"
    RUN = "run briefly"


class Response(StrEnum):
    """What a channel did meanwhile."""

    MOVED = "moved"
    STILL = "still"
    RESTLESS = "restless"
    """It moved before anything was done."""
    SILENT = "silent"
    """It gave no reading."""


class ChannelResponse(Noun):
    """What one channel did."""

    channel: Name
    role: Role
    response: Response
    is_expected: bool
    """Whether the stimulus must move it."""
    change_before: NotNegative | None = None
    """Span of its counts before, or how far it counted on; absent without a reading. [counts]"""
    change_during: NotNegative | None = None
    """Largest change of its counts while the head moved, or how far it counted. [counts]"""


class BindingProof(Noun):
    """What came of stimulating one head."""

    map_sha256: Annotated[str, Field(pattern="^[0-9a-f]{64}$")]
    """SHA-256 of the channel map; another map, another proof."""
    head: Name
    """The head that was stimulated."""
    stimulus: Stimulus
    channels: Annotated[tuple[ChannelResponse, ...], Field(min_length=1, strict=False)]
    holds: bool
    """Whether the map is this head's, as far as the stimulus can show it."""
    words: Annotated[str, Field(min_length=1, max_length=1000)]
    """The same in a sentence, for a person."""

    @property
    def unproven(self) -> tuple[str, ...]:
        """Channels of which the stimulus says nothing."""
        return tuple(c.channel for c in self.channels if not c.is_expected)
