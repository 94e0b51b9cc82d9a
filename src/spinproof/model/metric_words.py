"""What the metrics of a run are called, and how a probability is written, wherever they show."""

METRIC_WORDS = {
    "step_duration_error": "duration against the recipe",
    "hold_speed": "speed at the set-point",
    "speed_error": "speed against the set-point",
    "ripple": "ripple of the speed",
    "ramp_rate": "rate of the ramp",
    "ramp_error": "ramp against the recipe",
    "overshoot": "overshoot",
    "settling_time": "settling after the ramp",
    "time_at_speed": "time at speed",
    "time_at_speed_shortfall": "time missing at speed",
    "vibration": "vibration",
    "vibration_peak": "highest vibration, ramps included",
    "severity": "severity of the vibration",
    "severity_1x": "vibration at the speed of the shaft",
    "lag_1x": "lag of the vibration behind the shaft's pulse",
    "crest_factor": "crest factor of the acceleration",
    "kurtosis": "kurtosis of the acceleration",
    "clipped_share": "samples at the end of the range",
    "envelope_outer": "line of the bearing's outer race",
    "envelope_inner": "line of the bearing's inner race",
    "envelope_cage": "line of the bearing's cage",
    "envelope_element": "line of the bearing's rolling elements",
    "motor_current": "motor current",
    "di_flow": "flow of DI water",
    "di_pressure_low": "lowest DI supply pressure",
    "rinse_close_time": "closing of the rinse valve",
    "end_resistivity": "resistivity at the drain, at the end",
    "resistivity_shortfall": "resistivity missing at the drain",
    "feed_resistivity_low": "lowest resistivity of the feed",
    "n2_flow": "flow of nitrogen",
    "n2_flow_error": "nitrogen flow against nominal",
    "n2_temperature": "temperature of the nitrogen",
    "n2_temperature_error": "nitrogen temperature against the set-point",
    "dose": "thinning dose",
    "dose_error": "thinning dose against the recipe",
    "coast_time": "time of the coast",
    "coast_time_error": "coast against the prediction",
    "tach_lost_below": "speed at the last pulse of the head's tach",
    "index_time": "time to index",
    "vent_time": "venting of the seal",
    "release_pressure": "seal pressure at the door's release",
    "release_speed": "speed at the door's release",
    "door_order_breaches": "breaches of the stop sequence",
    "seal_loss": "pressure loss of the seal",
    "seal_pressure_loss": "pressure loss of the seal, temperature allowed for",
    "drag_coulomb": "constant drag over inertia",
    "drag_viscous": "viscous drag over inertia",
    "drag_windage": "windage over inertia",
    "resonance_speed": "resonance on the mounts",
    "resonance_damping": "damping of the mounts",
    "tach_agreement": "head tach against the reference",
    "display_agreement": "display against the reference",
    "largest_gap": "largest gap in the record",
    "missing_share": "missing readings",
    "operator_inputs": "operator inputs",
    "tach_repairs": "tach pulses put right",
}
"""Words for each metric that the judge knows, as they stand inside a sentence."""


def metric_words(name: str) -> str:
    """Give the words for a metric; one that the judge does not know goes by its name.

    Parameters
    ----------
    name : str
        Its name, as limits use it.

    Returns
    -------
    str
        Words as they stand inside a sentence.

    Examples
    --------
    >>> metric_words("n2_flow_error"), metric_words("own_metric")
    ('nitrogen flow against nominal', 'own metric')
    """
    return METRIC_WORDS.get(name, name.replace("_", " "))


def printed_probability(value: float) -> str:
    """Write a probability of conformance; the ends are never shown as certain.

    Parameters
    ----------
    value : float
        The probability. [1]

    Returns
    -------
    str
        With three decimals.

    Examples
    --------
    >>> printed_probability(0.9995), printed_probability(0.25), printed_probability(0.0)
    ('>0.999', '0.250', '<0.001')
    """
    if value >= 0.9995:
        return ">0.999"
    return "<0.001" if value < 0.0005 else f"{value:.3f}"
