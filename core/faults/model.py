"""Every candidate with its predictions over its sizes, for one device on one person; then the likelihood of findings.

Made once for a device; any findings can then be held against it. Predictions are kept only where they differ
from those of the device without a fault.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from math import exp, log

from ..errors import EntryRefusal
from ..person import Person
from ..settings import Settings
from .beliefs import Answer, Belief, Spread, divergence, log_likelihood
from .catalogue import Fault
from .catalogue_more import FAULTS
from .forward import measure
from .measures import values_of, words_of
from .state import Ordered, State, state_of
from .symptoms import GENERAL, ROWS, SYMPTOMS
from .types import Eye, Findings

# A complaint comes up in three of five people who have its cause, and in one of eighty who have not (common
# practice).
COMPLAINS = 0.6
COMPLAINS_ANYWAY = 0.012
# A size of a fault that moves everything measured by less than this, in nats, belongs to "nothing is wrong": it could
# not have been noticed.
NOTICED_NATS = 0.5
# Expectations nearer than this, in nats, are the same to any measurement.
SAME_NATS = 1e-3
SYMPTOM = "symptom."
UNNOTICED = -1e9
# A size explains findings nearly as well as the best one down to these odds (1.5 nats: between a fourth and a fifth).
NEARLY_AS_WELL = 1.5


@dataclass(frozen=True)
class Hypothesis:
    """One fault of one eye: sizes, their prior (logarithm), and what each changes in the expectations."""

    fault: Fault
    eye: Eye
    log_weight: float
    sizes: tuple[float, ...]
    log_prior: tuple[float, ...]
    changed: tuple[Mapping[str, Belief], ...]

    @property
    def name(self) -> str:
        """The fault with its eye."""
        return f"{self.fault.key}.{self.eye}" if self.eye else self.fault.key


@dataclass(frozen=True)
class Weighed:
    """A hypothesis against findings: its evidence, the logarithm of each size's posterior, the best size."""

    hypothesis: Hypothesis
    log_evidence: float
    log_posterior: tuple[float, ...]

    @property
    def tested(self) -> bool:
        """Whether anything that was measured or asked could show this candidate at all."""
        return self.log_evidence > UNNOTICED

    @property
    def best(self) -> int:
        """The place of the size that explains the findings best."""
        return max(range(len(self.log_posterior)), key=self.log_posterior.__getitem__)

    @property
    def range(self) -> tuple[float, float]:
        """The smallest and the largest size of the same sign that explain the findings nearly as well."""
        sizes = [self.hypothesis.sizes[place] for place in self.near]
        best = self.hypothesis.sizes[self.best]
        same = [size for size in sizes if size * best > 0]
        return (min(same, key=abs), max(same, key=abs)) if same else (best, best)

    @property
    def near(self) -> tuple[int, ...]:
        """The places of the sizes that explain the findings nearly as well as the best one, that one included."""
        least = self.log_posterior[self.best] - NEARLY_AS_WELL
        return tuple(place for place, value in enumerate(self.log_posterior) if value >= least)


@dataclass(frozen=True)
class Model:
    """The device without a fault and every candidate."""

    state: State
    base: Mapping[str, Belief]
    hypotheses: tuple[Hypothesis, ...]

    def belief(self, hypothesis: Hypothesis, size_index: int, key: str) -> Belief | None:
        """What a candidate of one size lets expect of one measurement."""
        if key.startswith(SYMPTOM):
            return complaint(hypothesis.fault, hypothesis.sizes[size_index], key.removeprefix(SYMPTOM))
        return hypothesis.changed[size_index].get(key, self.base.get(key))

    def evidence(self, findings: Findings) -> dict[str, float | str]:
        """The findings that this device can have, by key; complaints as yes or no where they were asked for.

        RangeRefusal for a number that is not finite, EntryRefusal for an answer or a complaint that is not known.
        """
        found = {key: value for key, value in values_of(findings).items() if key in self.base}
        for key, value in found.items():
            belief = self.base[key]
            if isinstance(belief, Answer) and value not in belief.chances:
                raise EntryRefusal(words_of(key), value, ", ".join(belief.chances), example=belief.likeliest)
        if findings.symptoms is not None:
            heard = findings.symptoms
            unknown = sorted(heard - ROWS.keys())
            if unknown:
                raise EntryRefusal("symptom", unknown[0], ", ".join(ROWS), example="blur")
            general = {row.key for row in GENERAL if row.key in heard}
            for row in SYMPTOMS:
                if row.of not in general or row.key in heard:
                    found[SYMPTOM + row.key] = "yes" if row.key in heard else "no"
            for key in general:
                found[SYMPTOM + key] = "yes"
        return found

    def weigh(self, found: Mapping[str, float | str]) -> list[Weighed]:
        """Every candidate against the findings, likeliest first."""
        plain = {
            key: log_likelihood(self.base[key], value) for key, value in found.items() if key in self.base
        }
        start = sum(plain.values())
        weighed = [self._weigh(hypothesis, found, plain, start) for hypothesis in self.hypotheses]
        return sorted(weighed, key=lambda item: -item.log_evidence)

    def _weigh(
        self,
        hypothesis: Hypothesis,
        found: Mapping[str, float | str],
        plain: Mapping[str, float],
        start: float,
    ) -> Weighed:
        posterior = []
        complaints = {key: value for key, value in found.items() if key.startswith(SYMPTOM)}
        for size, prior, changed in zip(
            hypothesis.sizes, hypothesis.log_prior, hypothesis.changed, strict=True
        ):
            if not self._noticed(hypothesis.fault, size, changed, plain, complaints):
                posterior.append(UNNOTICED)
                continue
            total = start + prior
            for key, belief in changed.items():
                if key in plain:
                    total += log_likelihood(belief, found[key]) - plain[key]
            for key, value in complaints.items():
                total += log_likelihood(complaint(hypothesis.fault, size, key.removeprefix(SYMPTOM)), value)
            posterior.append(total)
        most = max(posterior)
        evidence = hypothesis.log_weight + most + log(sum(exp(value - most) for value in posterior))
        if most == UNNOTICED:
            evidence = UNNOTICED
        return Weighed(hypothesis, evidence, tuple(posterior))

    def _noticed(
        self,
        fault: Fault,
        size: float,
        changed: Mapping[str, Belief],
        plain: Mapping[str, float],
        complaints: Mapping[str, float | str],
    ) -> bool:
        """Whether anything measured or asked would have shown a fault of this size."""
        if fault.key == "nothing":
            return True
        if any(fault.key in ROWS[key.removeprefix(SYMPTOM)].causes for key in complaints):
            return True
        moved = 0.0
        for key, belief in changed.items():
            if key in plain:
                moved += divergence(self.base[key], belief)
                if moved >= NOTICED_NATS:
                    return True
        return False


def complaint(fault: Fault, size: float, key: str) -> Answer:
    """The chance that a complaint comes up with a fault of this size."""
    sign = ROWS[key].causes.get(fault.key)
    strength = 0.0
    if sign is not None and sign * size >= 0.0:
        strength = min(1.0, abs(size) / fault.noticed)
    yes = COMPLAINS_ANYWAY + (1.0 - COMPLAINS_ANYWAY) * COMPLAINS * strength
    return Answer({"yes": yes, "no": 1.0 - yes})


def model_of(
    option: Ordered, person: Person, settings: Settings, chart_distance_mm: float | None = None
) -> Model:
    """The model of one device on one person."""
    state = state_of(option, person, settings, chart_distance_mm)
    base = measure(state)
    hypotheses = []
    for fault in FAULTS.values():
        if not fault.when(state):
            continue
        eyes: tuple[Eye, ...] = tuple(tube.side for tube in state.tubes) if fault.by_eye else ("",)  # type: ignore[assignment]
        for eye in eyes:
            hypotheses.append(_hypothesis(state, base, fault, eye, fault.weight / len(eyes)))
    return Model(state, base, tuple(hypotheses))


def _hypothesis(
    state: State, base: Mapping[str, Belief], fault: Fault, eye: Eye, weight: float
) -> Hypothesis:
    weights = [exp(-abs(size) / fault.scale) for size in fault.sizes]
    total = sum(weights)
    changed = []
    for size in fault.sizes:
        now = measure(fault.apply(state, eye, size))
        changed.append({key: belief for key, belief in now.items() if not _same(base.get(key), belief)})
    return Hypothesis(
        fault,
        eye,
        log(weight),
        fault.sizes,
        tuple(log(value / total) for value in weights),
        tuple(changed),
    )


def _same(first: Belief | None, second: Belief) -> bool:
    if first is None or type(first) is not type(second):
        return False
    if isinstance(first, Spread) and isinstance(second, Spread) and second.other_share:
        return False
    return divergence(first, second) < SAME_NATS
