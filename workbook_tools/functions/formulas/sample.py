"""Sampling fish for disease: how many to take, what a clean sample proves, and intervals of a prevalence."""

from __future__ import annotations

import math
from statistics import NormalDist

from workbook_tools.functions.quantities import (
    Confidence,
    Population,
    PositiveNumber,
    Prevalence,
    Probability,
    Proportion,
    SampleNumber,
    Sensitivity,
    checked,
    requires,
)

CERTAIN = -40.0  # natural logarithm of a chance of a miss that no answer shows any more


def infected(population: float, prevalence: float) -> int:
    """Infected fish: rounded up, a part that is only rounding of the product left out (100 * 0.07 is 7)."""
    return math.ceil(population * prevalence * (1 - 1e-12))


def allowed_miss(confidence: float) -> float:
    """Greatest chance of a miss, the billionth for rounding on top."""
    return (1 - confidence) * (1 + 1e-9)


def testing_all_is_enough(population: float, prevalence: float, confidence: float, sensitivity: float) -> bool:
    """Whether a test of every fish would reach the confidence."""
    return bool((1 - sensitivity) ** infected(population, prevalence) <= allowed_miss(confidence))


@checked
@requires(
    "testing_all_is_enough(population, prevalence, confidence, sensitivity)",
    "even a test of every fish would not reach the confidence, since the test misses too many; take a better one",
    testing_all_is_enough,
)
def size(
    population: Population, prevalence: Prevalence, confidence: Confidence = 0.95, sensitivity: Sensitivity = 1
) -> SampleNumber:
    """Fewest fish to sample so that an infection of at least a prevalence would be found.

    Parameters
    ----------
    population : fish in the unit sampled. [fish]
    prevalence : least share infected that must not be missed. [1]
    confidence : chance wanted that at least one fish sampled tests positive. [1]
    sensitivity : chance that the test finds an infected fish; 1 for a perfect test. [1]

    Returns
    -------
    Fish to sample. [fish]

    Raises
    ------
    ArgumentError : a value out of range, or a sensitivity with which even all fish would not be enough.

    Notes
    -----
    Infected fish: population * prevalence, rounded up. The smallest n whose chance of no positive is at most 1 -
    confidence, where that chance is exact: the sum over k of the hypergeometric chance of k infected fish in the
    sample times (1 - sensitivity)^k. A chance within a billionth of the limit counts as reaching it. No false
    positives; fish taken at random, which a dip net at the outlet is not. Printed tables are rounded or lie a fish or
    two below. A search: no cell formula equals it, and there is no plain-cell route.

    Examples
    --------
    >>> size(500, 0.05), size(500, 0.05, 0.95, 0.9)
    (56.0, 62.0)

    References
    ----------
    Hypergeometric distribution; compare Cannon & Roe 1982, Livestock Disease Surveys.
    """
    infected_fish = infected(population, prevalence)
    limit = allowed_miss(confidence)
    low, high = 0, 1
    while high < population and miss(int(population), high, infected_fish, sensitivity) > limit:
        low, high = high, min(high * 2, int(population))
    while high - low > 1:
        middle = (low + high) // 2
        if miss(int(population), middle, infected_fish, sensitivity) > limit:
            low = middle
        else:
            high = middle
    return high


@checked
@requires("sampled <= population", "more fish are sampled than there are")
def detect(
    population: Population, sampled: SampleNumber, prevalence: Prevalence, sensitivity: Sensitivity = 1
) -> Probability:
    """Chance that a sample finds an infection of a prevalence.

    Parameters
    ----------
    population : fish in the unit sampled. [fish]
    sampled : fish taken at random from them. [fish]
    prevalence : share infected. [1]
    sensitivity : chance that the test finds an infected fish; 1 for a perfect test. [1]

    Returns
    -------
    Chance of at least one positive. [1]

    Raises
    ------
    ArgumentError : a value out of range, or more fish sampled than there are.

    Notes
    -----
    1 less the chance that no fish sampled tests positive, as in SAMPLE.SIZE; infected fish are population *
    prevalence, rounded up. A sum over many terms: no cell formula equals it, and there is no plain-cell route.

    Examples
    --------
    >>> f"{detect(500, 56, 0.05):.4f}", f"{detect(500, 55, 0.05):.4f}"
    ('0.9525', '0.9497')

    References
    ----------
    Hypergeometric distribution.
    """
    return 1 - miss(int(population), int(sampled), infected(population, prevalence), sensitivity)


@checked
def about(population: Population, prevalence: Prevalence, confidence: Confidence = 0.95) -> SampleNumber:
    """A first estimate of SAMPLE.SIZE for a perfect test, at most three fish too many.

    Parameters
    ----------
    population : fish in the unit sampled. [fish]
    prevalence : least share infected that must not be missed. [1]
    confidence : chance wanted that at least one infected fish is in the sample. [1]

    Returns
    -------
    Fish to sample, about. [fish]

    Raises
    ------
    ArgumentError : a value out of range.

    Notes
    -----
    (1 - (1 - confidence)^(1 / infected)) * (population - (infected - 1) / 2), rounded up; infected fish are population
    * prevalence, rounded up. Not below the exact answer in any case tried, and above it by one fish at most up to a
    prevalence of 0.5, by three beyond. A cell settles the last fish with SAMPLE.PERFECT: the sheet Sampling of the
    bench workbook does.

    Examples
    --------
    >>> about(500, 0.05)
    56.0

    References
    ----------
    Cannon & Roe 1982, Livestock Disease Surveys (from memory).
    """
    infected_fish = infected(population, prevalence)
    fish = (1 - math.exp(math.log(1 - confidence) / infected_fish)) * (population - (infected_fish - 1) / 2)
    return max(1.0, min(population, math.ceil(fish - 1e-9)))


@checked
@requires("population <= 100000", "cells count exactly up to 100,000 fish; beyond that take SAMPLE.DETECT")
@requires("sampled <= population", "more fish are sampled than there are")
def perfect(population: Population, sampled: SampleNumber, prevalence: Prevalence) -> Probability:
    """Chance that a sample holds an infected fish: SAMPLE.DETECT for a test that misses none.

    Parameters
    ----------
    population : fish in the unit sampled. [fish]
    sampled : fish taken at random from them. [fish]
    prevalence : share infected. [1]

    Returns
    -------
    Chance of at least one infected fish in the sample. [1]

    Raises
    ------
    ArgumentError : a value out of range, or more fish sampled than there are.

    Notes
    -----
    1 less the hypergeometric chance of none. Infected fish: population * prevalence, rounded up. Up to 100,000 fish:
    beyond that the engines' own hypergeometric functions lose digits.

    Examples
    --------
    >>> f"{perfect(500, 56, 0.05):.4f}"
    '0.9525'

    References
    ----------
    Hypergeometric distribution.
    """
    return 1 - none_infected(population, sampled, infected(population, prevalence))


def none_infected(population: float, sampled: float, infected_fish: float) -> float:
    """Chance that no infected fish is in a sample."""
    return miss(int(population), int(sampled), int(infected_fish), 1.0)


def miss(population: int, sampled: int, infected_fish: int, sensitivity: float) -> float:
    """Chance that none of the fish sampled tests positive; 0 where it is below e^-40.

    Sampling without replacement misses no more often than with it, hence the two quick bounds.
    """
    share = sensitivity * infected_fish / population
    part = sensitivity * sampled / population
    bounds = [count * math.log1p(-rate) for count, rate in ((sampled, share), (infected_fish, part)) if rate < 1]
    if len(bounds) < 2 or min(bounds) < CERTAIN:
        return 0.0
    fewest = max(0, sampled + infected_fish - population)
    terms = weighted_terms(population, sampled, infected_fish, 1 - sensitivity, fewest)
    return math.exp(terms + log_chance(population, sampled, infected_fish, fewest))


def weighted_terms(population: int, sampled: int, infected_fish: int, missed: float, fewest: int) -> float:
    """Logarithm of the sum over k of chance(k) / chance(fewest) * missed^k.

    Each term follows from the one before; terms are scaled down before they leave the range of a float.
    """
    if missed == 0:
        return 0.0 if fewest == 0 else -math.inf
    term = 1.0
    total = 1.0
    scale = fewest * math.log(missed)
    for k in range(fewest, min(sampled, infected_fish)):
        rise = (infected_fish - k) * (sampled - k) / ((k + 1) * (population - infected_fish - sampled + k + 1)) * missed
        term *= rise
        total += term
        if rise < 1 and term < total * 1e-18:
            break
        if total > 1e250:
            term, total, scale = term / total, 1.0, scale + math.log(total)
    return scale + math.log(total)


def log_chance(population: int, sampled: int, infected_fish: int, fewest: int) -> float:
    """Logarithm of the hypergeometric chance of `fewest`, the least possible number of infected fish in the sample.

    Either it is none, or every healthy fish is in the sample: then none of the fish left out is healthy.
    """
    left, marked = (sampled, infected_fish) if fewest == 0 else (population - sampled, population - infected_fish)
    few, many = sorted((left, marked))
    return math.fsum(math.log1p(-many / (population - place)) for place in range(few))


@checked
@requires("positive <= sampled", "more fish are positive than were sampled")
def low(positive: PositiveNumber, sampled: SampleNumber, confidence: Confidence = 0.95) -> Proportion:
    """Lower end of the interval of a prevalence.

    Parameters
    ----------
    positive : fish found positive. [fish]
    sampled : fish sampled. [fish]
    confidence : of the interval, both ends together. [1]

    Returns
    -------
    Lower end; 0 where no fish was positive. [1]

    Raises
    ------
    ArgumentError : a value out of range, or more positive than sampled.

    Notes
    -----
    Wilson's interval, without correction for continuity: (2 x + z^2 - z sqrt(z^2 + 4 x (1 - x / n))) / (2 (n + z^2))
    with z the normal quantile of (1 + confidence) / 2. For a sample small beside its population.

    Examples
    --------
    >>> f"{low(81, 263):.4f}"
    '0.2553'

    References
    ----------
    Wilson 1927; Newcombe 1998, Statistics in Medicine 17:857, method 3.
    """
    return 0 if positive == 0 else interval_end(positive, sampled, -normal_quantile((1 + confidence) / 2))


@checked
@requires("positive <= sampled", "more fish are positive than were sampled")
def high(positive: PositiveNumber, sampled: SampleNumber, confidence: Confidence = 0.95) -> Proportion:
    """Upper end of the interval of a prevalence.

    Parameters
    ----------
    positive : fish found positive. [fish]
    sampled : fish sampled. [fish]
    confidence : of the interval, both ends together. [1]

    Returns
    -------
    Upper end; 1 where every fish was positive. [1]

    Raises
    ------
    ArgumentError : a value out of range, or more positive than sampled.

    Notes
    -----
    Wilson's interval, as `low` with the root added. With no positive fish this is the prevalence that the sample
    leaves possible.

    Examples
    --------
    >>> f"{high(81, 263):.4f}", f"{high(0, 60):.4f}"
    ('0.3662', '0.0602')

    References
    ----------
    Wilson 1927; Newcombe 1998, Statistics in Medicine 17:857, method 3.
    """
    return 1 if positive == sampled else interval_end(positive, sampled, normal_quantile((1 + confidence) / 2))


def interval_end(positive: float, sampled: float, z: float) -> float:
    """End of Wilson's interval on the side of the sign of z."""
    spread = z * math.sqrt(z * z + 4 * positive * (1 - positive / sampled))
    return (2 * positive + z * z + spread) / (2 * (sampled + z * z))


def normal_quantile(probability: float) -> float:
    """Quantile of the standard normal distribution, NORMSINV in a cell."""
    return NormalDist().inv_cdf(probability)
