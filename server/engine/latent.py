"""Inference over stories that knows nothing about sockets: scores, posterior, information gains.

A latent-class model. One hidden *story* is true. Each *variable* (a contact, a probe, a lamp) has a
few *signatures*: the distinct distributions its outcome can have. Signature 0 is the *baseline*: what
the variable does when the story says nothing about it. A story is a prior, a *decision* (what one
would do if it were true) and a short *footprint*: the variables it moves, each with its signature.
Variables are independent given the story.

Everything here follows from that sparseness:

- score(story) = log prior + sum over its footprint of (ll[c][g] - ll[c][0]); the baseline terms are
  the same for every story and drop out of the posterior;
- I(story; outcome of c) = H(sum_g W_g q_g) - sum_g W_g H(q_g), with W_g the posterior mass of the
  stories that give variable c signature g: no posterior after each possible outcome is needed;
- I(decision; outcome of c) = H(sum_d m_d) - sum_d P_d H(m_d / P_d), with m_d the outcome distribution
  of decision d weighted by its mass P_d. A decision none of whose stories touches c predicts the
  baseline, which is what makes the walk short.

Both are the definition of mutual information (Cover and Thomas, Elements of Information Theory,
section 2.3) with equal rows collected. What is a story, a signature, a likelihood, is decided
elsewhere; this module only counts. It also runs on the phone: plain lists, no calls in inner loops.
"""

import math
import sys

from collections.abc import Sequence

# Distributions are typed decimals or softmaxes; a sum off by more than this is a mistake, not rounding.
_SUM_TOLERANCE = math.sqrt(sys.float_info.epsilon)
# An impossible observation counts as the smallest normal float: differences stay finite, and what
# a story rules out keeps a share of about 1e-308 instead of turning the scores into nan.
_LEAST_LOG_LIKELIHOOD = math.log(sys.float_info.min)


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
        "touched_by",
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
    #: ``[variable]`` -> ``[(decision, [(signature, [story, ...]), ...]), ...]``, both ascending
    touched_by: list[list[tuple[int, list[tuple[int, list[int]]]]]]

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
        self.entropies = [[entropy(q) for q in of_variable] for of_variable in signatures]
        self.starts = []
        start = 0
        for of_variable in signatures:
            self.starts.append(start)
            start += len(of_variable)
        starts = self.starts
        self.flat_footprints = [[starts[c] + g for c, g in footprint] for footprint in footprints]
        self.masks = [_mask(footprint) for footprint in footprints]
        self.touched_by = _touched_by(len(signatures), footprints, decisions)


def entropy(distribution: Sequence[float]) -> float:
    """Entropy in bits; an outcome of probability 0 adds nothing."""
    return -math.fsum([p * math.log2(p) for p in distribution if p > 0])


def story_scores(model: LatentModel, log_likelihoods: list[list[float] | None]) -> list[float]:
    """Unnormalised log posterior of each story, without the baseline terms all stories share.

    Args:
        log_likelihoods: ``[variable][signature]`` -> natural log of p(observation | signature), in
            any one unit per variable (densities are fine); ``None`` for a variable not read.
            ``-inf`` is taken as the log of the smallest float.
    """
    shifts = _evidence_shifts(model, log_likelihoods)
    scores = []
    for score, flat in zip(model.log_priors, model.flat_footprints, strict=True):
        for i in flat:
            score += shifts[i]
        scores.append(score)
    return scores


def baseline_log_likelihood(log_likelihoods: list[list[float] | None]) -> float:
    """Log likelihood of all observations under the baseline; what ``story_scores`` leaves out."""
    return math.fsum([max(ll[0], _LEAST_LOG_LIKELIHOOD) for ll in log_likelihoods if ll is not None])


def log_evidence(model: LatentModel, log_likelihoods: list[list[float] | None], scores: list[float]) -> float:
    """Natural log of p(all observations), priors normalised: how well the whole model fits."""
    return _log_sum_exp(scores) - _log_sum_exp(model.log_priors) + baseline_log_likelihood(log_likelihoods)


def posterior(scores: list[float]) -> list[float]:
    """Exact normalised posterior from log scores; the largest is subtracted first.

    Raises:
        ValueError: no story is possible (all scores are ``-inf``) or a score is not a number.
    """
    top = max(scores)
    if not math.isfinite(top):
        raise ValueError(f"no story is possible: the largest of {len(scores)} scores is {top}, expected a finite number")
    weights = [math.exp(score - top) for score in scores]
    total = math.fsum(weights)
    return [weight / total for weight in weights]


def signature_masses(model: LatentModel, post: list[float]) -> list[list[float]]:
    """``[variable][signature]`` -> posterior mass W_g of the stories giving that signature.

    The baseline's mass is what the others leave, so each row sums to 1.
    """
    flat_masses = [0.0 for of_variable in model.signatures for _ in of_variable]
    for p, flat in zip(post, model.flat_footprints, strict=True):
        for i in flat:
            flat_masses[i] += p
    masses = []
    for start, of_variable in zip(model.starts, model.signatures, strict=True):
        row = flat_masses[start : start + len(of_variable)]
        row[0] = max(0.0, 1 - math.fsum(row))
        masses.append(row)
    return masses


def outcome_predictions(model: LatentModel, masses: list[list[float]]) -> list[tuple[float, ...]]:
    """``[variable]`` -> predicted outcome distribution, from ``signature_masses``."""
    predictions = []
    for row, of_variable in zip(masses, model.signatures, strict=True):
        mixed = [row[0] * q for q in of_variable[0]]
        for mass, signature in zip(row[1:], of_variable[1:], strict=True):
            if mass > 0:
                for o, q in enumerate(signature):
                    mixed[o] += mass * q
        predictions.append(tuple(mixed))
    return predictions


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
                o = 0
                for q in of_variable[g]:
                    mixed[o] += mass * q
                    o += 1
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
    leader = decision_masses.index(max(decision_masses))
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
                o = 0
                for q in of_variable[g]:
                    row[o] += mass * q
                    o += 1
            untouched -= d_mass
            kept += d_mass * log2(d_mass)
            o = 0
            for q in baseline:
                m = row[o]
                if left > 0:
                    m += left * q
                    row[o] = m
                mixed[o] += m
                if m > 0:
                    kept -= m * log2(m)
                o += 1
            rows.append((d, row))
        if untouched > 0:
            kept += untouched * model.entropies[c][0]
            o = 0
            for q in baseline:
                mixed[o] += untouched * q
                o += 1
        gain = -kept
        for p in mixed:
            if p > 0:
                gain -= p * log2(p)
        gains.append(max(0.0, gain))
        changes.append(_change_chance(leader, decision_masses, rows, baseline, mixed))
    return gains, changes


def _change_chance(
    leader: int,
    decision_masses: list[float],
    rows: list[tuple[int, list[float]]],
    baseline: tuple[float, ...],
    mixed: list[float],
) -> float:
    touched = [d for d, _ in rows]
    # Among the decisions this variable says nothing about only the heaviest can ever lead.
    rival = -1
    rival_mass = 0.0
    for d, mass in enumerate(decision_masses):
        if mass > rival_mass and d not in touched:
            rival = d
            rival_mass = mass
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


def second_story_scores(
    model: LatentModel,
    log_likelihoods: list[list[float] | None],
    scores: list[float],
    firsts: list[int],
    log_pair_prior: list[float],
) -> list[tuple[float, int, int]]:
    """Scores of two independent stories being true together, best first.

    Where two footprints share no variable the evidence adds: score(a, b) = score(a) + log_pair_prior[b]
    + evidence(b). Pairs that share a variable are left out: the outcome of two faults behind one
    variable is neither story's signature, and the model holds no third one. So are stories with an
    empty footprint, on either side: they predict the baseline everywhere, and together with another
    story they are that story.

    Args:
        scores: of all stories, from ``story_scores`` on the same ``log_likelihoods``.
        firsts: the stories tried as the first one; the best 8 are enough in practice.
        log_pair_prior: ``[story]``, natural log of the factor by which a pair is less likely than its
            first story alone, when this story is the second (its prior odds against not happening).
            ``-inf`` bars it.

    Returns:
        ``(score, first, second)``, each unordered pair once, highest score first, comparable with
        ``scores``.
    """
    shifts = _evidence_shifts(model, log_likelihoods)
    masks = model.masks
    seconds = []
    for s, flat in enumerate(model.flat_footprints):
        add = log_pair_prior[s]
        if flat and math.isfinite(add):
            for i in flat:
                add += shifts[i]
            seconds.append((add, s, masks[s]))
    pairs = []
    done = [False] * len(scores)
    for a in firsts:
        done[a] = True
        mask = masks[a]
        score = scores[a]
        if mask == 0 or not math.isfinite(score):
            continue
        for add, b, other in seconds:
            if not (mask & other or done[b]):
                pairs.append((score + add, a, b))
    pairs.sort(key=lambda pair: (-pair[0], pair[1], pair[2]))
    return pairs


def with_pairs(
    model: LatentModel,
    pairs: list[tuple[int, int]],
    log_priors: list[float],
    decisions: list[int],
) -> LatentModel:
    """The model with pairs of disjoint stories added as stories of their own, at the end.

    Lets every other function (posterior, masses, gains, groups) count them without a special case.

    Args:
        pairs: ``(first, second)`` story indices whose footprints share no variable.
        log_priors: of each pair, on the scale of ``model.log_priors``.
        decisions: of each pair.
    """
    return LatentModel(
        model.signatures,
        model.log_priors + log_priors,
        model.footprints + [model.footprints[a] + model.footprints[b] for a, b in pairs],
        model.decisions + decisions,
    )


def same_prediction_groups(
    model: LatentModel, tolerance: float = 0.0, variables: list[int] | None = None
) -> list[int]:
    """``[story]`` -> number of its group; stories of one group predict the same everywhere looked at.

    Two signatures of one variable count as equal when their total variation distance is at most
    ``tolerance``; a signature equal to the baseline drops out of the footprint. Groups are numbered
    in the order of their first story.

    Args:
        variables: look only at these (those already read: what no reading so far tells apart; those
            still unread: what no further reading can tell apart). ``None`` looks at all.
    """
    looked_at = [variables is None] * len(model.signatures)
    for c in variables or []:
        looked_at[c] = True
    stands_for = [_stand_ins(of_variable, tolerance) for of_variable in model.signatures]
    number_of: dict[tuple[tuple[int, int], ...], int] = {}
    groups = []
    for footprint in model.footprints:
        seen = [(c, stands_for[c][g]) for c, g in footprint if looked_at[c] and stands_for[c][g]]
        seen.sort()
        groups.append(number_of.setdefault(tuple(seen), len(number_of)))
    return groups


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
    joint = [[0.0] * n_outcomes for _ in masses]
    for weight, d, outcomes in zip(weights, decisions, outcome_rows, strict=True):
        p = weight / total
        masses[d] += p
        row = joint[d]
        for o, q in enumerate(outcomes):
            row[o] += p * q
    mixed = [math.fsum(column) for column in zip(*joint, strict=True)]
    gain = entropy(mixed) + entropy(masses) - math.fsum([entropy(row) for row in joint])
    leader = masses.index(max(masses))
    change = 0.0
    for o, p in enumerate(mixed):
        column = [row[o] for row in joint]
        if column.index(max(column)) != leader:
            change += p
    return max(0.0, gain), change


def _evidence_shifts(model: LatentModel, log_likelihoods: list[list[float] | None]) -> list[float]:
    """For every signature of every variable in one list: ll[c][g] - ll[c][0], 0 where not read."""
    least = _LEAST_LOG_LIKELIHOOD
    shifts = []
    for of_variable, ll in zip(model.signatures, log_likelihoods, strict=True):
        if ll is None:
            shifts += [0.0] * len(of_variable)
            continue
        base = ll[0]
        if base < least:
            base = least
        for value in ll:
            shifts.append((value if value > least else least) - base)
    return shifts


def _log_sum_exp(values: list[float]) -> float:
    top = max(values)
    if not math.isfinite(top):
        return top
    return top + math.log(math.fsum([math.exp(value - top) for value in values]))


def _mask(footprint: list[tuple[int, int]]) -> int:
    mask = 0
    for c, _ in footprint:
        mask |= 1 << c
    return mask


def _touched_by(
    n_variables: int, footprints: list[list[tuple[int, int]]], decisions: list[int]
) -> list[list[tuple[int, list[tuple[int, list[int]]]]]]:
    by_variable: list[dict[int, dict[int, list[int]]]] = [{} for _ in range(n_variables)]
    for s, footprint in enumerate(footprints):
        d = decisions[s]
        for c, g in footprint:
            by_variable[c].setdefault(d, {}).setdefault(g, []).append(s)
    return [
        [(d, sorted(of_decision[d].items())) for d in sorted(of_decision)] for of_decision in by_variable
    ]


def _stand_ins(of_variable: list[tuple[float, ...]], tolerance: float) -> list[int]:
    """For each signature the first one within ``tolerance`` of it."""
    stand_ins: list[int] = []
    for g, signature in enumerate(of_variable):
        stand_in = g
        for h in range(g):
            if stand_ins[h] != h:
                continue
            distance = 0.5 * math.fsum([abs(p - q) for p, q in zip(signature, of_variable[h], strict=True)])
            if distance <= tolerance:
                stand_in = h
                break
        stand_ins.append(stand_in)
    return stand_ins


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
