"""The prepared latent-class model: what it holds, and what is refused when it is built."""

import math
import sys
from collections.abc import Sequence

# Distributions are typed decimals or softmaxes; a sum off by more than this is a mistake, not rounding.
_SUM_TOLERANCE = math.sqrt(sys.float_info.epsilon)


class LatentModel:
    """Stories, their footprints and their variables' signatures, prepared for repeated questions.

    Built once; every function below only reads it.

    Args:
        signatures: ``[variable][signature]`` -> outcome distribution (sums to 1, at least two
            outcomes; all signatures of one variable have the same length). Signature 0 = baseline.
        log_priors: ``[story]``, natural log, need not be normalised. ``-inf`` bars a story.
        footprints: ``[story]`` -> ``[(variable, signature)]``, signature not 0, a variable at most once.
        decisions: ``[story]`` -> index of its decision, counted from 0.

    Raises:
        ValueError: a length, index or distribution does not fit; the message names the place.
    """

    __slots__ = (
        "decisions",
        "entropies",
        "flat_footprints",
        "footprints",
        "log_priors",
        "masks",
        "n_decisions",
        "signatures",
        "starts",
    )

    signatures: list[list[tuple[float, ...]]]
    log_priors: list[float]
    footprints: list[list[tuple[int, int]]]
    decisions: list[int]
    n_decisions: int
    #: bits, ``[variable][signature]``: H(q_g)
    entropies: list[list[float]]
    #: place of a variable's signature 0 in a list of all signatures of all variables
    starts: list[int]
    flat_footprints: list[list[int]]
    #: bit c is set when the story's footprint holds variable c
    masks: list[int]

    def __init__(
        self,
        signatures: list[list[tuple[float, ...]]],
        log_priors: list[float],
        footprints: list[list[tuple[int, int]]],
        decisions: list[int],
    ) -> None:
        _check_signatures(signatures)
        _check_stories(signatures, log_priors, footprints, decisions)
        self.signatures = signatures
        self.log_priors = log_priors
        self.footprints = footprints
        self.decisions = decisions
        self.n_decisions = max(decisions) + 1
        # many variables have the same signatures
        bits = {q: entropy(q) for q in dict.fromkeys([q for of_variable in signatures for q in of_variable])}
        self.entropies = [[bits[q] for q in of_variable] for of_variable in signatures]
        self.starts = []
        start = 0
        for of_variable in signatures:
            self.starts.append(start)
            start += len(of_variable)
        starts = self.starts
        self.flat_footprints = [[starts[c] + g for c, g in footprint] for footprint in footprints]
        self.masks = [_mask(footprint) for footprint in footprints]

    def with_stories(
        self, footprints: list[list[tuple[int, int]]], log_priors: list[float], decisions: list[int]
    ) -> "LatentModel":
        """This model and further stories after its own. The footprints are trusted; nothing is recomputed."""
        more = LatentModel.__new__(LatentModel)
        more.signatures, more.entropies, more.starts = self.signatures, self.entropies, self.starts
        more.log_priors = self.log_priors + log_priors
        more.footprints = self.footprints + footprints
        more.decisions = self.decisions + decisions
        more.n_decisions = max([self.n_decisions - 1, *decisions]) + 1
        starts = self.starts
        more.flat_footprints = self.flat_footprints + [[starts[c] + g for c, g in one] for one in footprints]
        more.masks = self.masks + [_mask(footprint) for footprint in footprints]
        return more


def entropy(distribution: Sequence[float]) -> float:
    """Entropy in bits; an outcome of probability 0 adds nothing."""
    return -math.fsum([p * math.log2(p) for p in distribution if p > 0])


def _mask(footprint: list[tuple[int, int]]) -> int:
    mask = 0
    for c, _ in footprint:
        mask |= 1 << c
    return mask


def _check_signatures(signatures: list[list[tuple[float, ...]]]) -> None:
    for c, of_variable in enumerate(signatures):
        if not of_variable:
            raise ValueError(f"variable {c} has no signature, expected at least the baseline, e.g. [(0.9, 0.1)]")
        n_outcomes = len(of_variable[0])
        for g, signature in enumerate(of_variable):
            if len(signature) != n_outcomes:
                raise ValueError(
                    f"variable {c}, signature {g} has {len(signature)} outcomes,"
                    f" expected {n_outcomes} as in its baseline"
                )
            total = math.fsum(signature)
            if not abs(total - 1) <= _SUM_TOLERANCE or min(signature) < 0:
                raise ValueError(
                    f"variable {c}, signature {g} is {signature}, which is no distribution:"
                    f" expected parts not below 0 that sum to 1, got {total}"
                )


def _check_stories(
    signatures: list[list[tuple[float, ...]]],
    log_priors: list[float],
    footprints: list[list[tuple[int, int]]],
    decisions: list[int],
) -> None:
    n = len(log_priors)
    if n == 0 or len(footprints) != n or len(decisions) != n:
        raise ValueError(
            f"{n} log priors, {len(footprints)} footprints and {len(decisions)} decisions were given,"
            " expected the same number of each, at least one"
        )
    for s, footprint in enumerate(footprints):
        if math.isnan(log_priors[s]) or log_priors[s] == math.inf:
            raise ValueError(f"story {s} has log prior {log_priors[s]}, expected a number or -inf")
        if decisions[s] < 0:
            raise ValueError(f"story {s} has decision {decisions[s]}, expected 0 or more")
        seen = 0
        for c, g in footprint:
            if not 0 <= c < len(signatures) or not 0 < g < len(signatures[c]):
                raise ValueError(
                    f"story {s} names signature {g} of variable {c}; expected a variable below"
                    f" {len(signatures)} and one of its signatures other than the baseline 0"
                )
            if seen >> c & 1:
                raise ValueError(f"story {s} names variable {c} twice, expected one signature for it")
            seen |= 1 << c
