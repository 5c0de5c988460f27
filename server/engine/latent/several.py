"""More than one story at a time: two that are both true, and those that predict the same."""

import math

from server.engine.latent.model import LatentModel
from server.engine.latent.posterior import evidence_shifts


def second_story_scores(
    model: LatentModel,
    log_likelihoods: list[list[float] | None],
    scores: list[float],
    firsts: list[int],
    log_pair_prior: list[float],
    at_least: float = -math.inf,
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
        at_least: pairs scoring lower are left out, e.g. what lies 20 below the best score.

    Returns:
        ``(score, first, second)``, each unordered pair once, highest score first, comparable with
        ``scores``.
    """
    shifts = evidence_shifts(model, log_likelihoods)
    masks = model.masks
    seconds = []
    for s, flat in enumerate(model.flat_footprints):
        add = log_pair_prior[s]
        if flat and math.isfinite(add):
            for i in flat:
                add += shifts[i]
            seconds.append((add, s, masks[s]))
    seconds.sort(reverse=True)
    # Negative scores, so that a plain sort needs no key and ties go by index.
    pairs = []
    done = [False] * len(scores)
    for a in firsts:
        done[a] = True
        mask = masks[a]
        score = scores[a]
        if mask == 0 or not math.isfinite(score):
            continue
        for add, b, other in seconds:
            total = score + add
            if total < at_least:
                break
            if not (mask & other or done[b]):
                pairs.append((-total, a, b))
    pairs.sort()
    return [(-negative, a, b) for negative, a, b in pairs]


def with_pairs(
    model: LatentModel,
    pairs: list[tuple[int, int]],
    log_priors: list[float],
    decisions: list[int],
) -> LatentModel:
    """The model with pairs of disjoint stories added as stories of their own, at the end.

    Lets every other function (posterior, masses, gains, groups) count them without a special case.
    Shares with ``model`` whatever the pairs do not change, so it is cheap enough for every opinion.

    Args:
        pairs: ``(first, second)`` story indices whose footprints share no variable.
        log_priors: of each pair, on the scale of ``model.log_priors``.
        decisions: of each pair.

    Raises:
        ValueError: two footprints of a pair share a variable.
    """
    for a, b in pairs:
        if model.masks[a] & model.masks[b]:
            raise ValueError(f"stories {a} and {b} name the same variable, expected footprints that share none")
    return model.with_stories([model.footprints[a] + model.footprints[b] for a, b in pairs], log_priors, decisions)


def same_prediction_groups(model: LatentModel, tolerance: float = 0.0, variables: list[int] | None = None) -> list[int]:
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


def _stand_ins(of_variable: list[tuple[float, ...]], tolerance: float) -> list[int]:
    """For each signature the first one within ``tolerance`` of it."""
    stand_ins: list[int] = []
    firsts: list[tuple[int, tuple[float, ...]]] = []
    for g, signature in enumerate(of_variable):
        stand_in = g
        for h, other in firsts:
            distance = 0.0
            for p, q in zip(signature, other, strict=True):
                distance += 0.5 * abs(p - q)
                if distance > tolerance:
                    break
            else:
                stand_in = h
                break
        if stand_in == g:
            firsts.append((g, signature))
        stand_ins.append(stand_in)
    return stand_ins
