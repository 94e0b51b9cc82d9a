"""A configuration: the instances in their positions, the parameters and the sensor settings."""

from typing import Annotated

from pydantic import Field

from spinproof.model.noun import Name, Noun


class Configuration(Noun):
    """What a head is made of and set to, from some moment on.

    Its fingerprint also covers the head spec, the channel map and the limits: all counted runs
    of a campaign share one fingerprint.
    """

    head: Name
    revision: Annotated[int, Field(ge=1)] = 1
    what: Annotated[str, Field(min_length=1, max_length=300)]
    """What was built or changed, and why; prints in the configuration history."""
    firmware: Name
    """Identity of the controller's program."""
    parts: Annotated[dict[str, str], Field(min_length=1)]
    """Instance by position, for example "door seal" = "QM207L-SEA02"."""
    settings: dict[str, str]
    """Parameter or sensor setting by name, with its unit in the text."""
