"""Channel maps: which quantity a head's sources deliver, and where they keep it."""

from typing import Annotated, Self

from pydantic import Field, model_validator

from spinproof.model.channel import Channel, Role
from spinproof.model.noun import Name, Noun
from spinproof.model.stream import StreamSpec


class ChannelMap(Noun):
    """Which quantity lies where on a stand, for one head."""

    name: Name
    revision: Annotated[int, Field(ge=1)] = 1
    head: Name
    """Designation of the head that the channels belong to."""
    unit_id: Annotated[int, Field(ge=1, le=247)]
    """Modbus unit id of the head on its stand."""
    word_order: Annotated[str, Field(pattern="^(big|little)$")] = "big"
    """Order of the two registers of a 32-bit value."""
    channels: Annotated[tuple[Channel, ...], Field(strict=False)] = ()
    """Channels in the stand's own blocks."""
    streams: Annotated[tuple[StreamSpec, ...], Field(strict=False)] = ()
    """What other sources deliver beside them."""

    @property
    def all_channels(self) -> tuple[Channel, ...]:
        """The channels of the stand's blocks and of all streams."""
        return self.channels + tuple(c for stream in self.streams for c in stream.channels)

    @model_validator(mode="after")
    def _names_and_roles_are_unique(self) -> Self:
        if not self.all_channels:
            msg = "the map holds no channel"
            raise ValueError(msg)
        names = [channel.name for channel in self.all_channels]
        roles = [c.role.value for c in self.all_channels if c.role is not Role.OTHER]
        streams = [stream.name for stream in self.streams]
        for kind, items in (("name", names), ("role", roles), ("stream name", streams)):
            twice = sorted({item for item in items if items.count(item) > 1})
            if twice:
                msg = f"two channels share the {kind} {', '.join(twice)}"
                raise ValueError(msg)
        return self
