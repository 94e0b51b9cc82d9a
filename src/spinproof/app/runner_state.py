"""What a recorder process was asked to do, and how far it is: a small file beside its journals."""

import json
import os
from typing import Annotated, Self

from pydantic import Field

from spinproof.app.home import Home
from spinproof.files.canonical import canonical_json
from spinproof.files.durable import write_durably
from spinproof.model.errors import SpinproofError
from spinproof.model.noun import Name, Noun, Positive


class SeriesOrder(Noun):
    """The runs that a recorder process shall make."""

    head: Name
    by: Name
    runs: Annotated[int, Field(ge=1, le=200)]
    host: str | None = None
    """Where the stand answers; without one, the process serves a virtual stand to itself."""
    port: Annotated[int, Field(ge=0, le=65535)] = 0
    speed_up: Positive | None = None
    """Times real time of a virtual stand; None is as fast as it is read."""
    seed: Annotated[int, Field(ge=0)] = 0

    @property
    def is_virtual(self) -> bool:
        """Whether the stand is a virtual one, which can be started from here."""
        return self.host is None


class StatedFault(Noun):
    """Why a series ended, in the words of the error."""

    code: str
    what: str
    where: str
    mend: str

    @classmethod
    def of(cls, error: SpinproofError) -> Self:
        """Take the words of an error."""
        return cls(code=error.code, what=error.what, where=error.where, mend=error.mend)


class SeriesState(Noun):
    """How far a series of runs is."""

    by: Name
    runs: int
    """How many were asked for."""
    began_at: str
    simulated: bool
    pid: int
    """Process that makes them; 0 while it starts."""
    order: SeriesOrder | None = None
    """What a page asked for; none when the command began it."""
    made: Annotated[tuple[Name, ...], Field(strict=False)] = ()
    """Runs that were made, in order."""
    ended_at: str | None = None
    because: str | None = None
    """Why it ended."""
    fault: StatedFault | None = None

    @classmethod
    def asked(cls, order: SeriesOrder, at: str) -> Self:
        """Give the state of a series whose process is about to start."""
        simulated = order.is_virtual
        return cls(
            by=order.by, runs=order.runs, began_at=at, simulated=simulated, pid=0, order=order
        )

    @classmethod
    def begun(
        cls, by: str, runs: int, at: str, *, simulated: bool, order: SeriesOrder | None
    ) -> Self:
        """Give the state of a series that begins in this process."""
        return cls(by=by, runs=runs, began_at=at, simulated=simulated, pid=os.getpid(), order=order)

    def with_run(self, run: str) -> Self:
        """Give the state after one more run."""
        return self.model_copy(update={"made": (*self.made, run)})

    def ended(self, at: str, because: str, fault: StatedFault | None = None) -> Self:
        """Give the state at the end."""
        return self.model_copy(update={"ended_at": at, "because": because, "fault": fault})


def write_state(home: Home, head: str, state: SeriesState) -> None:
    """Keep the state where the pages find it."""
    write_durably(home.journals / f"{head}.series.json", canonical_json(state.to_document()))


def state_of(home: Home, head: str) -> SeriesState | None:
    """Give the state of a head's last series, or None when there is none that can be read."""
    try:
        text = (home.journals / f"{head}.series.json").read_text(encoding="utf-8")
        return SeriesState.from_document(json.loads(text))
    except (OSError, ValueError):
        return None
