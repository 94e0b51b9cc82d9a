"""Watch a head while its runs are recorded, one run after the other."""

from collections.abc import Mapping
from datetime import datetime

from spinproof.app.browsing import Browser
from spinproof.app.intake import present_setup
from spinproof.app.live_stop import StopWatch
from spinproof.app.live_traces import TraceWatch
from spinproof.app.views import LiveReading, LiveState, LiveView
from spinproof.app.watching import SpeedWatch, StepWatch
from spinproof.ledger.entries import RunState
from spinproof.ledger.reading import Reading
from spinproof.ledger.shop_reading import ShopReading
from spinproof.model.channel import Role
from spinproof.model.errors import GateClosedError
from spinproof.model.handover import Series
from spinproof.model.limit import LimitSet
from spinproof.model.recipe import TimerBasis
from spinproof.model.registers import STEP_IDLE
from spinproof.model.run import Outcome, RunHeader
from spinproof.model.trace import Signal
from spinproof.record.journal import SUFFIX, JournalFollower

NO_QUANTITY = frozenset(
    {
        Role.TACH_COUNT,
        Role.TACH_EDGE,
        Role.OPTICAL_COUNT,
        Role.OPTICAL_EDGE,
        Role.STEP,
        Role.STATUS,
    }
)
"""Roles whose readings say nothing by themselves."""

SILENT_S = 3.0
"""A recorder that wrote nothing for longer may have died, or been followed by another. [s]"""


class HeadWatch:
    """Follows the runs of one head as they are recorded; each look gives what came since the last.

    Parameters
    ----------
    browser : Browser
        Where the records are.
    head : str
        Designation of the head.
    """

    def __init__(self, browser: Browser, head: str) -> None:
        self._browser = browser
        self._head = head
        self._watch: RunWatch | None = None
        self._count = ""

    def look(self, now: datetime) -> LiveView:
        """Give the head as it is at this instant.

        Parameters
        ----------
        now : datetime
            The present instant.

        Returns
        -------
        LiveView
            Its newest samples and what they say.

        Raises
        ------
        JournalError
            If the journal cannot be understood.
        """
        if self._watch is None or self._watch.ended or self._watch.is_silent(now):
            self._ask_ledger()
        return _waiting() if self._watch is None else self._watch.look(now, self._count)

    def has_news(self) -> bool:
        """Tell whether the journal that is followed has grown since the last look."""
        return self._watch is not None and self._watch.has_news()

    def close(self) -> None:
        """Let go of the journal."""
        if self._watch is not None:
            self._watch.close()

    def _ask_ledger(self) -> None:
        with self._browser.ledger.reading() as records:
            running = records.runs(self._head, RunState.RUNNING)
            names = [run.name for run in running]
            if self._watch is not None and self._watch.run in names:
                return
            if not names:
                if self._watch is not None:
                    self._watch.ended = True
                return
            self._count = attempts_in_words(records, self._head, running[-1].campaign)
            limits = _limits(records, self._head)
        self.close()
        self._watch = RunWatch(self._browser, names[-1], limits)


class RunWatch:
    """Follows the journal of one run."""

    def __init__(self, browser: Browser, run: str, limits: LimitSet | None = None) -> None:
        self.run = run
        self.ended = False
        """Whether the recording is over."""
        self._path = browser.home.journals / f"{run}{SUFFIX}"
        self._follower = JournalFollower(self._path)
        self._speed = SpeedWatch()
        self._steps = StepWatch()
        self._limits = limits
        self._traces: TraceWatch | None = None
        self._stop: StopWatch | None = None
        self._newest: dict[str, LiveReading] = {}
        self._fresh = True
        self._size = 0

    def look(self, now: datetime, count: str) -> LiveView:
        """Give the run as it is at this instant."""
        self._size = self._present_size()
        new = self._follower.poll()
        header = self._follower.opening.header if self._follower.opening else None
        curve = Series("", "rpm", (), ())
        if header is not None:
            self._traces = self._traces or TraceWatch(header, self._limits)
            self._stop = self._stop or StopWatch(header)
            curve = self._speed.follow(new, header)
            self._steps.follow(new, header.recipe, curve)
            self._traces.follow(new, curve)
            self._stop.follow(new)
        self._newest |= newest_readings(new)
        self.ended = self.ended or self._follower.ending is not None
        fresh, self._fresh = self._fresh, False
        return self._view(header, curve, fresh=fresh, count=count, age_s=self._age(now))

    def has_news(self) -> bool:
        """Tell whether the journal has grown since the last look."""
        return self._present_size() > self._size

    def _present_size(self) -> int:
        try:
            return self._path.stat().st_size
        except OSError:  # not there yet, or sealed already
            return 0

    def is_silent(self, now: datetime) -> bool:
        """Tell whether the recorder wrote nothing for a while."""
        age = self._age(now)
        return age is None or age > SILENT_S

    def close(self) -> None:
        """Let go of the journal."""
        self._follower.close()

    def _view(
        self,
        header: RunHeader | None,
        curve: Series,
        *,
        fresh: bool,
        count: str,
        age_s: float | None,
    ) -> LiveView:
        return LiveView(
            state=LiveState.ENDED if self.ended else LiveState.RECORDING,
            words=self._words(),
            run=self.run,
            recipe=header.recipe.name if header else None,
            step=self._steps.in_words(header.recipe) if header else "not begun",
            left_s=None if self.ended or not header else self._steps.left_s(header.recipe),
            speed_rpm=self._speed.speed_rpm,
            readings=tuple(self._newest.values()),
            curve=curve,
            fresh=fresh,
            count=count,
            age_s=None if self.ended else age_s,
            simulated=header.simulated if header else False,
            next=self._next(header),
            basis=self._basis(header),
            traces=self._traces.new if self._traces else (),
            out=self._traces.out() if self._traces and not self.ended else (),
            chain=self._stop.chain if self._stop else None,
            newest_s=self._traces.newest_s if self._traces else None,
        )

    def _next(self, header: RunHeader | None) -> str:
        if self.ended:
            return f"Read what became of {self.run}, then enter the next run."
        if header is None or self._steps.step in {None, STEP_IDLE}:
            by_itself = header is not None and header.simulated
            return "The virtual head starts." if by_itself else "Start the head at its controller."
        if self._stop and self._stop.chain:
            return "Let it stop by itself, and watch the chain."
        return "Let it run, and watch it."

    def _basis(self, header: RunHeader | None) -> str:
        step = self._steps.running(header.recipe) if header and not self.ended else None
        if step is None:
            return ""
        if step.timer_basis is TimerBasis.FROM_COMMAND:
            return "counted from the command"
        waits = header is not None and self._steps.left_s(header.recipe) is None
        return "waits until it is at speed" if waits else "counted from at speed"

    def _words(self) -> str:
        if not self.ended:
            return "Recording."
        ending = self._follower.ending
        return f"The recording has ended: {ending.value if ending else 'interrupted'}."

    def _age(self, now: datetime) -> float | None:
        try:
            written = self._path.stat().st_mtime
        except OSError:
            return None
        return max(0.0, now.timestamp() - written)


def _waiting() -> LiveView:
    return LiveView(
        state=LiveState.WAITING,
        words="No run of this head is recorded now. This page goes on by itself when one begins.",
        run=None,
        recipe=None,
        step="none",
        left_s=None,
        speed_rpm=None,
        readings=(),
        curve=Series(name="", unit="rpm", time_s=(), values=()),
        fresh=True,
        count="",
        age_s=None,
        simulated=False,
        next="Go to the burn-in page for the next run.",
    )


def _limits(records: ShopReading, head: str) -> LimitSet | None:
    """Give the limits that are agreed for a head, before it is configured none."""
    try:
        return present_setup(records, head).limits
    except GateClosedError:
        return None


def newest_readings(signals: Mapping[str, Signal]) -> dict[str, LiveReading]:
    """Give the newest reading of every channel that shows a quantity.

    Parameters
    ----------
    signals : mapping of str to Signal
        By channel name.

    Returns
    -------
    dict of str to LiveReading
        By channel name; a channel without a sample is left out.
    """
    return {
        name: LiveReading(
            name=name,
            unit=signal.channel.unit,
            value=_number(signal.values[-1]),
            resolution=signal.channel.scale,
        )
        for name, signal in signals.items()
        if signal.channel.role not in NO_QUANTITY and signal.time_s.size
    }


def _number(value: float) -> float | None:
    return float(value) if value == value else None  # noqa: PLR0124 - NaN alone differs from itself


def attempts_in_words(records: Reading, head: str, campaign: int | None) -> str:
    """Say how far a campaign has come.

    Parameters
    ----------
    records : Reading
        The ledger.
    head : str
        Designation of the head.
    campaign : int or None
        Number of the campaign, or None for a run outside one.

    Returns
    -------
    str
        For example "campaign 2, plan of 54 runs: 23 counted of 24 attempted, 0 relevant failures".
    """
    if campaign is None:
        return "a trial, outside any campaign"
    entry = next(c for c in records.campaigns(head) if c.number == campaign)
    runs = [run for run in records.runs(head) if run.campaign == campaign]
    outcomes = [run.outcome for run in runs]
    counted = outcomes.count(Outcome.COUNTED)
    failures = outcomes.count(Outcome.RELEVANT_FAILURE)
    return (
        f"campaign {campaign}, plan of {len(records.plan(entry).runs)} runs: {counted} counted of "
        f"{len(runs)} attempted, {failures} relevant failure{'' if failures == 1 else 's'}"
    )
