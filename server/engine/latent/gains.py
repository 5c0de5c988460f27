"""What reading a variable, or any other test, is expected to tell: bits, and whether it would change the mind."""

import math
from collections.abc import Sequence

from server.engine.latent.model import LatentModel
from server.engine.latent.posterior import signature_masses


def story_gains(model: LatentModel, post: list[float], unread: list[int]) -> list[float]:
    """Bits each unread variable's outcome is expected to tell about the story, in order of ``unread``."""
    log2 = math.log2
    masses = signature_masses(model, post)
    gains = []
    for c in unread:
        row = masses[c]
        entropies = model.entropies[c]
        of_variable = model.signatures[c]
        mass = row[0]
        mixed = [mass * q for q in of_variable[0]]
        gain = -mass * entropies[0]
        for g in range(1, len(row)):
            mass = row[g]
            if mass > 0:
                gain -= mass * entropies[g]
                for o, q in enumerate(of_variable[g]):
                    mixed[o] += mass * q
        for p in mixed:
            if p > 0:
                gain -= p * log2(p)
        gains.append(max(0.0, gain))
    return gains


def decision_gains(model: LatentModel, post: list[float], unread: list[int]) -> list[float]:
    """Bits each unread variable's outcome is expected to tell about the decision."""
    return decision_outlook(model, post, unread)[0]


def decision_outlook(model: LatentModel, post: list[float], unread: list[int]) -> tuple[list[float], list[float]]:
    """What reading each unread variable would do to the decision.

    Returns:
        Two lists in the order of ``unread``: I(decision; outcome) in bits, and the probability that
        after the outcome another decision leads than now (ties go to the smaller index).
    """
    log2 = math.log2
    decision_masses = [0.0] * model.n_decisions
    for p, d in zip(post, model.decisions, strict=True):
        decision_masses[d] += p
    heaviest_first = sorted(range(model.n_decisions), key=lambda d: (-decision_masses[d], d))
    leader = heaviest_first[0]
    gains = []
    changes = []
    for c in unread:
        of_variable = model.signatures[c]
        baseline = of_variable[0]
        n_outcomes = len(baseline)
        # sum_d P_d H(m_d / P_d) = sum_d P_d log2 P_d - sum_d,o m_do log2 m_do; untouched decisions
        # predict the baseline, so their part is their mass times H(q_0).
        untouched = 1.0
        kept = 0.0
        mixed = [0.0] * n_outcomes
        rows: list[tuple[int, list[float]]] = []
        for d, entries in model.touched_by[c]:
            d_mass = decision_masses[d]
            if d_mass <= 0:
                continue
            left = d_mass
            row = [0.0] * n_outcomes
            for g, stories in entries:
                mass = 0.0
                for s in stories:
                    mass += post[s]
                left -= mass
                row = [m + mass * q for m, q in zip(row, of_variable[g], strict=True)]
            if left > 0:
                row = [m + left * q for m, q in zip(row, baseline, strict=True)]
            untouched -= d_mass
            kept += d_mass * log2(d_mass)
            for m in row:
                if m > 0:
                    kept -= m * log2(m)
            mixed = [one + m for one, m in zip(mixed, row, strict=True)]
            rows.append((d, row))
        if untouched > 0:
            kept += untouched * model.entropies[c][0]
            for o, q in enumerate(baseline):
                mixed[o] += untouched * q
        gain = -kept
        for p in mixed:
            if p > 0:
                gain -= p * log2(p)
        gains.append(max(0.0, gain))
        changes.append(_change_chance(leader, decision_masses, heaviest_first, rows, baseline, mixed))
    return gains, changes


def _change_chance(
    leader: int,
    decision_masses: list[float],
    heaviest_first: list[int],
    rows: list[tuple[int, list[float]]],
    baseline: tuple[float, ...],
    mixed: list[float],
) -> float:
    touched = {d for d, _ in rows}
    # Among the decisions this variable says nothing about only the heaviest can ever lead.
    rival = -1
    for d in heaviest_first:
        if d not in touched:
            rival = d
            break
    rival_mass = decision_masses[rival] if rival >= 0 else 0.0
    chance = 0.0
    for o, p in enumerate(mixed):
        best = rival
        best_mass = rival_mass * baseline[o]
        for d, row in rows:
            mass = row[o]
            if mass > best_mass or (mass == best_mass and d < best):
                best = d
                best_mass = mass
        if best != leader:
            chance += p
    return chance


def test_gain(weights: list[float], decisions: list[int], outcome_rows: Sequence[Sequence[float]]) -> float:
    """Bits a test is expected to tell about the decision, for tests that are no variable of a model.

    Args:
        weights: ``[hypothesis]``, not negative, need not be normalised.
        decisions: ``[hypothesis]`` -> decision index; ``range(n)`` gives the gain about the hypothesis.
        outcome_rows: ``[hypothesis][outcome]`` -> p(outcome | hypothesis).
    """
    return test_outlook(weights, decisions, outcome_rows)[0]


def test_outlook(
    weights: list[float], decisions: list[int], outcome_rows: Sequence[Sequence[float]]
) -> tuple[float, float]:
    """``test_gain`` and the probability that another decision leads after the test than before it.

    Raises:
        ValueError: no hypothesis has weight.
    """
    total = math.fsum(weights)
    if not total > 0:
        raise ValueError(f"the {len(weights)} hypotheses weigh {total} together, expected more than 0")
    n_outcomes = len(outcome_rows[0])
    masses = [0.0] * (max(decisions) + 1)
    # a row only for decisions that some hypothesis gives weight
    joint: list[list[float] | None] = [None] * len(masses)
    for weight, d, outcomes in zip(weights, decisions, outcome_rows, strict=True):
        if weight > 0:
            p = weight / total
            masses[d] += p
            row = joint[d]
            if row is None:
                joint[d] = [p * q for q in outcomes]
            else:
                for o, q in enumerate(outcomes):
                    row[o] += p * q
    log2 = math.log2
    mixed = [0.0] * n_outcomes
    best = [0.0] * n_outcomes
    leads = [-1] * n_outcomes
    gain = 0.0
    for d, row in enumerate(joint):
        if row is None:
            continue
        gain -= masses[d] * log2(masses[d])
        for o, p in enumerate(row):
            if p > 0:
                gain += p * log2(p)
                mixed[o] += p
                if p > best[o]:
                    best[o] = p
                    leads[o] = d
    leader = masses.index(max(masses))
    change = 0.0
    for o, p in enumerate(mixed):
        if p > 0:
            gain -= p * log2(p)
            if leads[o] != leader:
                change += p
    return max(0.0, gain), change
