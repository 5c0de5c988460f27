"""Small latent-class models to test with, and the slow, plain way to answer the same questions.

The slow way fills in every story's outcome row at every variable and sums over all of them. It shares
no code with `server.engine.latent` beyond the model's own lists.
"""

import math
import random
from dataclasses import dataclass

from server.engine.latent import LatentModel


def random_distribution(rng: random.Random, n_outcomes: int) -> tuple[float, ...]:
    """A distribution with, now and then, an outcome that all but never happens."""
    weights = [rng.random() if rng.random() < 0.8 else 1e-6 for _ in range(n_outcomes)]
    total = math.fsum(weights)
    return tuple(weight / total for weight in weights)


def random_model(
    seed: int, n_variables: int = 5, n_stories: int = 10, n_decisions: int = 3, longest_footprint: int = 4
) -> LatentModel:
    """A model with footprints from empty to `longest_footprint`, two to four outcomes a variable."""
    rng = random.Random(seed)
    signatures = []
    for _ in range(n_variables):
        n_outcomes = rng.randint(2, 4)
        signatures.append([random_distribution(rng, n_outcomes) for _ in range(rng.randint(2, 4))])
    footprints = []
    for _ in range(n_stories):
        touched = rng.sample(range(n_variables), rng.randint(0, min(n_variables, longest_footprint)))
        footprints.append([(c, rng.randrange(1, len(signatures[c]))) for c in touched])
    log_priors = [math.log(rng.random() + 1e-3) for _ in range(n_stories)]
    return LatentModel(signatures, log_priors, footprints, [rng.randrange(n_decisions) for _ in range(n_stories)])


def random_observations(seed: int, model: LatentModel, share: float = 0.4) -> dict[int, int]:
    """`variable -> outcome` for about `share` of the variables."""
    rng = random.Random(seed)
    return {
        c: rng.randrange(len(of_variable[0])) for c, of_variable in enumerate(model.signatures) if rng.random() < share
    }


def log_likelihoods(model: LatentModel, observed: dict[int, int]) -> list[list[float] | None]:
    """What the model's functions take, for observed outcomes."""
    return [
        [math.log(q[observed[c]]) if q[observed[c]] > 0 else -math.inf for q in of_variable] if c in observed else None
        for c, of_variable in enumerate(model.signatures)
    ]


def outcome_rows(model: LatentModel, variable: int) -> list[tuple[float, ...]]:
    """`[story][outcome]`: every story's distribution at one variable, filled in."""
    return [model.signatures[variable][dict(footprint).get(variable, 0)] for footprint in model.footprints]


def entropy_bits(distribution: list[float]) -> float:
    return math.fsum(-p * math.log2(p) for p in distribution if p > 0)


@dataclass
class SlowAnswer:
    """The questions' answers by full enumeration."""

    posterior: list[float]
    evidence: float
    predictions: list[list[float]]
    story_gains: list[float]
    decision_gains: list[float]
    change_chances: list[float]


def by_enumeration(model: LatentModel, observed: dict[int, int]) -> SlowAnswer:
    """Everything, from the joint distribution of story and outcomes, one posterior per outcome."""
    rows = [outcome_rows(model, c) for c in range(len(model.signatures))]
    priors = [math.exp(log_prior) for log_prior in model.log_priors]
    joint = [p * math.prod(rows[c][s][o] for c, o in observed.items()) for s, p in enumerate(priors)]
    evidence = math.fsum(joint)
    post = [p / evidence for p in joint]
    answer = SlowAnswer(post, evidence / math.fsum(priors), [], [], [], [])
    leader = _leader(post, model.decisions)
    for of_variable in rows:
        prediction = [
            math.fsum(p * row[o] for p, row in zip(post, of_variable, strict=True)) for o in range(len(of_variable[0]))
        ]
        story_left = decision_left = changes = 0.0
        for o, p_outcome in enumerate(prediction):
            if p_outcome == 0:
                continue
            after = [p * row[o] / p_outcome for p, row in zip(post, of_variable, strict=True)]
            story_left += p_outcome * entropy_bits(after)
            decision_left += p_outcome * entropy_bits(decision_masses(after, model.decisions))
            if _leader(after, model.decisions) != leader:
                changes += p_outcome
        answer.predictions.append(prediction)
        answer.story_gains.append(entropy_bits(post) - story_left)
        answer.decision_gains.append(entropy_bits(decision_masses(post, model.decisions)) - decision_left)
        answer.change_chances.append(changes)
    return answer


def decision_masses(post: list[float], decisions: list[int]) -> list[float]:
    return [
        math.fsum(p for p, d in zip(post, decisions, strict=True) if d == wanted)
        for wanted in range(max(decisions) + 1)
    ]


def _leader(post: list[float], decisions: list[int]) -> int:
    masses = decision_masses(post, decisions)
    return masses.index(max(masses))
