"""From observations to the posterior over stories and the prediction of every variable."""

import math
import sys

from server.engine.latent.model import LatentModel

# An impossible observation counts as the smallest normal float: differences stay finite, and what
# a story rules out keeps a share of about 1e-308 instead of turning the scores into nan.
_LEAST_LOG_LIKELIHOOD = math.log(sys.float_info.min)


def story_scores(model: LatentModel, log_likelihoods: list[list[float] | None]) -> list[float]:
    """Unnormalised log posterior of each story, without the baseline terms all stories share.

    Args:
        log_likelihoods: ``[variable][signature]`` -> natural log of p(observation | signature), in
            any one unit per variable (densities are fine); ``None`` for a variable not read.
            ``-inf`` is taken as the log of the smallest float.
    """
    shifts = evidence_shifts(model, log_likelihoods)
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
        raise ValueError(
            f"no story is possible: the largest of {len(scores)} scores is {top}, expected a finite number"
        )
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


def evidence_shifts(model: LatentModel, log_likelihoods: list[list[float] | None]) -> list[float]:
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
