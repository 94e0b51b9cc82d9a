"""Samples of incoming lots: how many to inspect, and what accepting then means."""

from math import inf

from scipy.optimize import brentq
from scipy.stats import binom, hypergeom

from spinproof.stats.validity import require

LEVEL_II = (
    (8, "A", 2),
    (15, "B", 3),
    (25, "C", 5),
    (50, "D", 8),
    (90, "E", 13),
    (150, "F", 20),
    (280, "G", 32),
    (500, "H", 50),
    (1200, "J", 80),
    (3200, "K", 125),
    (10_000, "L", 200),
    (35_000, "M", 315),
    (150_000, "N", 500),
    (500_000, "P", 800),
    (inf, "Q", 1250),
)
"""Largest lot, code letter and sample size for general inspection level II, single sampling."""


def sample_size(lot: int) -> tuple[str, int]:
    """Code letter and sample size for a lot of bought parts.

    Parameters
    ----------
    lot : int
        Number of parts in the lot, two or more. [1]

    Returns
    -------
    tuple
        Code letter, and how many to inspect; the whole lot when that is less. [1]

    Raises
    ------
    OutOfRangeError
        If the lot holds fewer than two parts.

    Notes
    -----
    General inspection level II, normal inspection. Parts that safety hangs on are inspected one by
    one instead.

    References
    ----------
    .. [1] ANSI/ASQ Z1.4, ISO 2859-1: Sampling procedures for inspection by attributes.

    Examples
    --------
    >>> sample_size(60)
    ('E', 13)
    """
    require(
        lot >= 2,
        f"a lot of {lot} is not sampled",
        where="sample_size",
        mend="Inspect the part itself.",
    )
    letter, size = next((letter, size) for largest, letter, size in LEVEL_II if lot <= largest)
    return letter, min(size, lot)


def acceptance_probability(
    sample: int, allowed: int, defective: float, lot: int | None = None
) -> float:
    """Probability that a lot is accepted.

    Parameters
    ----------
    sample : int
        Number of parts inspected. [1]
    allowed : int
        Number of defective parts in the sample with which the lot is still accepted. [1]
    defective : float
        Share of defective parts in the lot, between 0 and 1. [1]
    lot : int, optional
        Number of parts in the lot, when the sample is a good part of it. [1]

    Returns
    -------
    float
        Binomial for a large lot; hypergeometric for a lot of known size. [1]

    Raises
    ------
    OutOfRangeError
        If the numbers make no sense, or the lot does not hold a whole number of defective parts.

    References
    ----------
    .. [1] ISO 2859-1, operating characteristic of single sampling plans.

    Examples
    --------
    >>> round(acceptance_probability(13, 0, 0.05), 4)
    0.5133
    """
    require(
        sample >= 1 and 0 <= allowed <= sample and 0 <= defective <= 1,
        f"{allowed} allowed in {sample} with {defective:g} defective makes no sense",
        where="acceptance_probability",
        mend="Give a sample of one or more, no more allowed than inspected, a share of 0 to 1.",
    )
    if lot is None:
        return float(binom.cdf(allowed, sample, defective))
    bad = round(defective * lot)
    require(
        sample <= lot and abs(bad - defective * lot) < 1e-9 * lot,
        f"a lot of {lot} holds no sample of {sample} with {defective:g} defective",
        where="acceptance_probability",
        mend="Give a lot that holds the sample, and a share of whole parts.",
    )
    return float(hypergeom.cdf(allowed, lot, bad, sample))


def defective_share(sample: int, allowed: int, probability: float) -> float:
    """Share of defective parts at which a large lot is accepted with a probability.

    Parameters
    ----------
    sample : int
        Number of parts inspected. [1]
    allowed : int
        Number of defective parts with which the lot is still accepted, fewer than inspected. [1]
    probability : float
        Probability of acceptance, between 0 and 1; 0.1 is commonly the customer's risk. [1]

    Returns
    -------
    float
        The share. [1]

    Raises
    ------
    OutOfRangeError
        If the numbers make no sense.

    References
    ----------
    .. [1] ISO 2859-1, operating characteristic of single sampling plans.

    Examples
    --------
    >>> round(defective_share(13, 0, 0.1), 4)
    0.1623
    """
    require(
        0 <= allowed < sample and 0 < probability < 1,
        f"{allowed} allowed in {sample} is not accepted with a probability of {probability:g}",
        where="defective_share",
        mend="Allow fewer than are inspected, and give a probability between 0 and 1.",
    )

    def excess(share: float) -> float:
        return float(binom.cdf(allowed, sample, share)) - probability

    return float(brentq(excess, 0.0, 1.0, xtol=1e-12))
