"""What a cause lets one expect of a measurement, and how well a measured value agrees with that expectation.

A number is expected at a mean with the standard deviation of its repeats; one value in fifty may be a slip, so
no single slip rules a cause out. An answer is expected with a probability for each word.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from math import erf, exp, log, pi, sqrt

# Common practice: one recorded value in fifty is misread or mistyped, and then lies anywhere near.
SLIP_SHARE = 0.02
SLIP_SPREAD = 4.0
# One measurement tells no more than this, whatever the numbers say.
MOST_NATS = 8.0
# No answer is impossible: people misunderstand questions.
ANSWER_FLOOR = 0.02


@dataclass(frozen=True, slots=True)
class Spread:
    """A number expected at ``mean`` with standard deviation ``sd``; with the chance ``other_share`` at ``other``."""

    mean: float
    sd: float
    other: float = 0.0
    other_share: float = 0.0


@dataclass(frozen=True, slots=True)
class Answer:
    """A word expected with these probabilities (they add up to 1)."""

    chances: Mapping[str, float]

    @property
    def likeliest(self) -> str:
        """The word that is expected most."""
        return max(self.chances, key=lambda word: self.chances[word])


Belief = Spread | Answer


def answer(**weights: float) -> Answer:
    """An answer from weights by word (``_`` stands for a blank), none below the floor."""
    words = {word.replace("_", " "): max(0.0, weight) for word, weight in weights.items()}
    total = sum(words.values())
    free = 1.0 - ANSWER_FLOOR * len(words)
    return Answer({word: ANSWER_FLOOR + free * weight / total for word, weight in words.items()})


def log_likelihood(belief: Belief, value: float | str) -> float:
    """Natural logarithm of the likelihood of a measured value or of an answer."""
    if isinstance(belief, Answer):
        return log(belief.chances.get(str(value), ANSWER_FLOOR))
    density = _density(float(value) - belief.mean, belief.sd)
    if belief.other_share:
        other = _density(float(value) - belief.other, belief.sd)
        density = (1.0 - belief.other_share) * density + belief.other_share * other
    return log(density)


def _density(off: float, sd: float) -> float:
    narrow, wide = off / sd, off / (sd * SLIP_SPREAD)
    bell = (1.0 - SLIP_SHARE) * exp(-0.5 * min(narrow * narrow, 1400.0))
    slip = SLIP_SHARE / SLIP_SPREAD * exp(-0.5 * min(wide * wide, 60.0))
    return (bell + slip) / (sd * sqrt(2.0 * pi))


def divergence(first: Belief, second: Belief) -> float:
    """How far apart two expectations are, in nats of evidence that one measurement gives on average."""
    if isinstance(first, Answer) and isinstance(second, Answer):
        return sum(
            0.5 * (chance - second.chances.get(word, ANSWER_FLOOR))
            * log(chance / second.chances.get(word, ANSWER_FLOOR))
            for word, chance in first.chances.items()
        )  # fmt: skip
    if isinstance(first, Spread) and isinstance(second, Spread):
        return min(MOST_NATS, max(0.0, _spread_divergence(first, second)))
    return 0.0


def _spread_divergence(first: Spread, second: Spread) -> float:
    """Kullback-Leibler divergence of two normal distributions, or of mixtures of two by its variational estimate."""
    total = 0.0
    for weight, mean in _parts(first):
        own = sum(w * exp(-_normal_divergence(mean, first.sd, m, first.sd)) for w, m in _parts(first))
        other = sum(w * exp(-_normal_divergence(mean, first.sd, m, second.sd)) for w, m in _parts(second))
        total += weight * log(own / other)
    return total


def _parts(belief: Spread) -> tuple[tuple[float, float], ...]:
    if not belief.other_share:
        return ((1.0, belief.mean),)
    return (1.0 - belief.other_share, belief.mean), (belief.other_share, belief.other)


def _normal_divergence(mean: float, sd: float, other_mean: float, other_sd: float) -> float:
    apart = (mean - other_mean) / other_sd
    return min(MOST_NATS, log(other_sd / sd) + 0.5 * ((sd / other_sd) ** 2 + apart * apart - 1.0))


def told_apart(first: Belief, second: Belief) -> float:
    """The chance that one measurement points to the right one of two causes: 0.5 tells nothing, 1 tells all."""
    if isinstance(first, Answer) and isinstance(second, Answer):
        words = first.chances.keys() | second.chances.keys()
        gap = sum(abs(first.chances.get(w, 0.0) - second.chances.get(w, 0.0)) for w in words)
        return 0.5 + 0.25 * gap
    if isinstance(first, Spread) and isinstance(second, Spread):
        if first.other_share or second.other_share:
            return 1.0 - 0.5 * exp(-0.5 * divergence(first, second))
        apart = abs(first.mean - second.mean) / first.sd
        return 0.5 + 0.5 * erf(apart / (2.0 * sqrt(2.0)))
    return 0.5


def logistic(x: float) -> float:
    """A soft step from 0 to 1."""
    return 1.0 / (1.0 + exp(-max(-40.0, min(40.0, x))))
