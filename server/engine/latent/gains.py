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
    decision_masses = [0.0] * model.n_decisions
    for p, d in zip(post, model.decisions, strict=True):
        decision_masses[d] += p
    heaviest_first = sorted(range(model.n_decisions), key=decision_masses.__getitem__, reverse=True)
    touching = _touching(model, post, unread)
    gains = []
    changes = []
    for c in unread:
        of_variable = model.signatures[c]
        mixed = _mixed(touching[c], of_variable)
        rows = _several(touching[c], decision_masses, of_variable)
        kept = _bits_left(touching[c], rows, decision_masses, model.entropies[c])
        gains.append(max(0.0, _spread(mixed) - kept))
        changes.append(_change_chance(heaviest_first, decision_masses, touching[c], rows, of_variable, mixed))
    return gains, changes


_Touching = dict[int, dict[int, float]]
"""decision -> signature -> mass of its stories that give the variable this signature"""


def _touching(model: LatentModel, post: list[float], variables: list[int]) -> dict[int, _Touching]:
    """Of each variable the decisions whose stories touch it; all others predict its baseline."""
    told: dict[int, _Touching] = {c: {} for c in variables}
    for p, d, footprint in zip(post, model.decisions, model.footprints, strict=True):
        if p > 0:
            for c, g in footprint:
                if c in told:
                    of_decision = told[c].setdefault(d, {})
                    of_decision[g] = of_decision.get(g, 0.0) + p
    return told


def _mixed(touching: _Touching, of_variable: list[tuple[float, ...]]) -> list[float]:
    """The predicted outcome distribution of a variable; what touches it not gives the baseline."""
    masses = [0.0] * len(of_variable)
    for by_signature in touching.values():
        for g, part in by_signature.items():
            masses[g] += part
    masses[0] = max(0.0, 1 - math.fsum(masses))
    mixed = [0.0] * len(of_variable[0])
    for mass, signature in zip(masses, of_variable, strict=True):
        if mass > 0:
            mixed = [one + mass * q for one, q in zip(mixed, signature, strict=True)]
    return mixed


def _row(mass: float, by_signature: dict[int, float], of_variable: list[tuple[float, ...]]) -> list[float]:
    """p(decision, outcome) of a decision of this mass, which touches the variable so."""
    left = mass
    row = [0.0] * len(of_variable[0])
    for g, part in by_signature.items():
        left -= part
        row = [m + part * q for m, q in zip(row, of_variable[g], strict=True)]
    if left > 0:
        row = [m + left * q for m, q in zip(row, of_variable[0], strict=True)]
    return row


def _several(
    touching: _Touching, decision_masses: list[float], of_variable: list[tuple[float, ...]]
) -> dict[int, list[float]]:
    """p(decision, outcome) of each decision whose stories do not all give the variable one signature."""
    return {
        d: _row(decision_masses[d], by_signature, of_variable)
        for d, by_signature in touching.items()
        if next(iter(by_signature.values())) != decision_masses[d]
    }


def _bits_left(
    touching: _Touching, rows: dict[int, list[float]], decision_masses: list[float], entropies: list[float]
) -> float:
    """H(outcome | decision): sum_d P_d H(m_d / P_d) = sum_d P_d log2 P_d - sum_d,o m_do log2 m_do."""
    log2 = math.log2
    untouched = 1.0
    left = 0.0
    for d, by_signature in touching.items():
        mass = decision_masses[d]
        untouched -= mass
        row = rows.get(d)
        if row is None:
            left += mass * entropies[next(iter(by_signature))]
            continue
        left += mass * log2(mass)
        for m in row:
            if m > 0:
                left -= m * log2(m)
    # untouched decisions predict the baseline, so their part is their mass times H(q_0)
    return left + max(untouched, 0.0) * entropies[0]


def _spread(parts: list[float]) -> float:
    """The sum of -p log2 p."""
    log2 = math.log2
    told = 0.0
    for p in parts:
        if p > 0:
            told -= p * log2(p)
    return told


def _change_chance(
    heaviest_first: list[int],
    decision_masses: list[float],
    touching: _Touching,
    rows: dict[int, list[float]],
    of_variable: list[tuple[float, ...]],
    mixed: list[float],
) -> float:
    """The probability of the outcomes after which another decision leads than the heaviest one now."""
    leader = heaviest_first[0]
    leads = rows.get(leader) or _row(decision_masses[leader], touching.get(leader, {}), of_variable)
    # no outcome of a decision is likelier than the decision itself, so one lighter than the leader's least never leads
    least = min(leads)
    rivals = [(d, rows.get(d) or _row(decision_masses[d], told, of_variable)) for d, told in touching.items()
              if decision_masses[d] >= least and d != leader]  # fmt: skip
    # of those the variable says nothing about only the heaviest can ever lead
    other = next((d for d in heaviest_first if d not in touching), leader)
    if other != leader:
        rivals.append((other, _row(decision_masses[other], {}, of_variable)))
    chance = 0.0
    for o, p in enumerate(mixed):
        here = leads[o]
        if any(row[o] > here or (row[o] == here and d < leader) for d, row in rivals):
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
