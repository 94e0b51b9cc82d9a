"""Symptoms of a run: what is high or low beside its recipe, its head and what is usual."""

from collections.abc import Callable, Iterator, Mapping
from dataclasses import dataclass
from math import isfinite

from spinproof.judge.words import number
from spinproof.model.cause import Level, Symptom
from spinproof.model.head import HeadSpec
from spinproof.model.judgement import Judgement, Metric
from spinproof.model.metric_words import metric_words
from spinproof.model.recipe import StepKind
from spinproof.model.run import IncidentKind

Usual = Mapping[tuple[str, int | None], float]
"""What each metric, by name and step, usually is: the median of earlier runs of this recipe."""

SLOW, FAST = (StepKind.RINSE, StepKind.PURGE), (StepKind.DRY,)
COMMON_MISTAKES = {"a peak read as rms": 2**0.5, "g read as m/s2": 9.80665}
"""Factors by which a vibration channel is wrong when its scale is mistaken."""


@dataclass(frozen=True)
class Seen:
    """A run to look at for symptoms."""

    judgement: Judgement
    head: HeadSpec
    usual: Usual
    other_recipe: str | None = None
    """Says which other recipe the run fits better, if one does."""

    def values(self, name: str, kinds: tuple[StepKind, ...] = ()) -> list[Metric]:
        """Give the metrics of a name that have a value, in steps of some kinds, in order."""
        steps = {s.step: s.kind for s in self.judgement.segments}
        return [
            metric
            for metric in self.judgement.metrics
            if metric.name == name
            and metric.value is not None
            and (not kinds or (metric.step is not None and steps.get(metric.step) in kinds))
        ]

    def run_value(self, name: str) -> float | None:
        """Give a metric of the whole run."""
        found = [metric.value for metric in self.values(name) if metric.step is None]
        return found[0] if found else None

    def ratios(self, name: str, kinds: tuple[StepKind, ...] = ()) -> list[float]:
        """Give the metrics of a name in proportion to what is usual."""
        pairs = [(m.value, self.usual.get((name, m.step))) for m in self.values(name, kinds)]
        return [value / usual for value, usual in pairs if value is not None and usual]

    def has(self, kind: IncidentKind) -> bool:
        """Tell whether the recording noticed something of a kind."""
        return any(incident.kind is kind for incident in self.judgement.incidents)

    def event(self, name: str) -> bool:
        """Tell whether something happened in the run."""
        return any(event.name == name for event in self.judgement.events)


def symptoms_of(seen: Seen) -> dict[str, Symptom]:
    """Give every symptom that the run allows to see, normal ones included.

    Parameters
    ----------
    seen : Seen
        The judgement, the head, and what is usual; without the usual fewer symptoms are seen.

    Returns
    -------
    dict of str to Symptom
        By name. One that cannot be seen, for lack of a channel or of earlier runs, is left out.
    """
    found = [*_by_metric(seen), *_by_ratio(seen), *_by_pattern(seen), *_by_sign(seen)]
    return {symptom.name: symptom for symptom in found}


@dataclass(frozen=True)
class _Rule:
    """A metric that is high or low beyond a band."""

    name: str
    metric: str
    low: float | None
    high: float | None
    kinds: tuple[StepKind, ...] = ()
    pick: Callable[[list[float]], float] = max


def _farthest(values: list[float]) -> float:
    return max(values, key=abs)


_RULES = (
    _Rule("step-early", "step_duration_error", -0.5, 0.5, pick=_farthest),
    _Rule("speed-slow", "speed_error", -0.8, 0.8, SLOW, _farthest),
    _Rule("speed-fast", "speed_error", -0.8, 0.8, FAST, _farthest),
    _Rule("ramp", "ramp_error", -5.0, 5.0, pick=_farthest),
    _Rule("overshoot", "overshoot", None, 2.0),
    _Rule("tach", "tach_agreement", -0.8, 0.8, pick=_farthest),
    _Rule("tach-repairs", "tach_repairs", None, 200.0),
    _Rule("display", "display_agreement", -0.8, 0.8, pick=_farthest),
    _Rule("coast", "coast_time_error", -5.0, 5.0, pick=_farthest),
    _Rule("n2-flow", "n2_flow_error", -4.0, 4.0, pick=_farthest),
    _Rule("n2-temperature", "n2_temperature_error", -4.0, 4.0, pick=_farthest),
    _Rule("rinse-closing", "rinse_close_time", None, 0.8),
    _Rule("seal-loss", "seal_loss", None, 4.0),
    _Rule("door-order", "door_order_breaches", None, 0.5),
    _Rule("gap", "largest_gap", None, 4.0),
    _Rule("missing", "missing_share", None, 0.5),
    _Rule("stop-pressed", "operator_inputs", None, 0.5),
)


def _by_metric(seen: Seen) -> Iterator[Symptom]:
    for rule in _RULES:
        metrics = seen.values(rule.metric, rule.kinds)
        values = [metric.value for metric in metrics if metric.value is not None]
        if values:
            value = rule.pick(values)
            told = f"{metric_words(rule.metric)} {number(value, metrics[0].unit)}"
            yield Symptom(rule.name, _level(value, rule.low, rule.high), told)


def _by_ratio(seen: Seen) -> Iterator[Symptom]:
    """Compare with what is usual, or with the head's own numbers."""
    for name, metric, kinds, band in (
        ("current-slow", "motor_current", SLOW, (0.92, 1.08)),
        ("current-fast", "motor_current", FAST, (0.94, 1.06)),
        ("vibration-slow", "vibration", SLOW, (0.9, 1.2)),
        ("vibration-fast", "vibration", FAST, (0.8, 1.25)),
        ("drag", "drag_coulomb", (), (0.94, 1.06)),
        ("vent", "vent_time", (), (0.7, 1.4)),
        ("ramp-shape", "overshoot", (), (0.0, 2.2)),
    ):
        ratios = [ratio for ratio in seen.ratios(metric, kinds) if ratio > 0]
        if ratios:
            ratio = max(ratios, key=lambda r: max(r, 1 / r))
            words = f"{metric_words(metric)} {ratio:.2f} times the usual"
            where = {SLOW: " at low speed", FAST: " at high speed"}.get(kinds, "")
            yield Symptom(name, _level(ratio, *band), words + where)
    for name, metric, nominal, low, high in (
        ("di-flow", "di_flow", seen.head.di_flow_lpm, 0.93, 1.07),
        ("di-pressure", "di_pressure_low", seen.head.di_pressure_bar_g, 0.85, 1.2),
        ("release-pressure", "release_pressure", seen.head.seal_release_kpa_g, 0.0, 1.0),
        ("tach-lost", "tach_lost_below", seen.head.index_enable_rpm, 0.0, 1.02),
        ("tach-lost-far", "tach_lost_below", seen.head.index_enable_rpm, 0.0, 5.0),
    ):
        metrics = seen.values(metric)
        if metrics and nominal:
            value = min(m.value or 0.0 for m in metrics)
            told = f"{metric_words(metric)} {number(value, metrics[0].unit)}"
            yield Symptom(name, _level(value / nominal, low, high), f"{told}, {nominal:g} nominal")


def _by_pattern(seen: Seen) -> Iterator[Symptom]:
    """Look at how a metric runs over the steps."""
    ratios = seen.ratios("vibration")
    if len(ratios) > 1:
        rose = ratios[-1] / min(ratios[:-1])
        words = f"vibration at the end {rose:.2f} times that of the steps before, beside the usual"
        late = _level(ratios[-1] / max(ratios[:-1]), 0.5, 1.8)
        yield Symptom("vibration-late", late, words)
        spread = max(ratios) / min(ratios)
        even = f"vibration changed by the same factor in all steps, within {spread - 1:.0%}"
        is_even = spread < 1.03 and not 0.9 < ratios[0] < 1.15
        yield Symptom("vibration-even", Level.HIGH if is_even else Level.NORMAL, even)
        yield _scale(ratios, is_even=is_even)


def _scale(ratios: list[float], *, is_even: bool) -> Symptom:
    for words, factor in COMMON_MISTAKES.items():
        for expected in (factor, 1 / factor):
            if is_even and abs(ratios[0] / expected - 1) < 0.03:
                told = f"vibration {ratios[0]:.3f} times the usual, as {words} would show"
                return Symptom("vibration-scale", Level.HIGH, told)
    return Symptom("vibration-scale", Level.NORMAL, "the vibration's factor fits no mistaken scale")


def _by_sign(seen: Seen) -> Iterator[Symptom]:
    """Look at what happened, and at what the recording noticed."""
    judgement = seen.judgement
    strangers = any("do not come from the same head" in reason for reason in judgement.reasons)
    proven = seen.run_value("index_time") is not None
    signs = (
        ("frozen", seen.has(IncidentKind.FROZEN), "a sensor repeated one reading"),
        ("spike", seen.has(IncidentKind.SPIKE), "a single reading stands out"),
        ("clock-step", seen.has(IncidentKind.CLOCK_STEP), "the device's clock jumped"),
        ("strangers", strangers, "channels come from different heads, or one of them is dead"),
        ("fault", seen.event("fault"), "the controller reported a fault"),
        ("no-index", not proven, "the index was never proven"),
        (
            "other-recipe",
            seen.other_recipe is not None,
            seen.other_recipe or "no recipe fits better",
        ),
    )
    for name, is_there, words in signs:
        yield Symptom(name, Level.HIGH if is_there else Level.NORMAL, words)


def _level(value: float, low: float | None, high: float | None) -> Level:
    if not isfinite(value):
        return Level.NORMAL
    if low is not None and value < low:
        return Level.LOW
    return Level.HIGH if high is not None and value > high else Level.NORMAL
