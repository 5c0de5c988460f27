"""Where to probe a chain of four inverters whose output is wrong: in the middle, or beside the suspect.

Source: the example of cascaded inverters that goes with de Kleer and Williams 1987 (Artificial
Intelligence 32:97-130). The paper's printed figures were not found; every number below is *computed*
from its definitions (a faulty inverter may put out either value; a value nothing predicts is split
evenly over the two). "Halve what is left, lean towards the suspect" is the check that matters.

Stories are the 16 sets of faulty inverters; the set of none contradicts the output and is ruled out.

Does not prove: anything about costs; every probe counts alike here.
"""

import math
from itertools import combinations

from pytest import approx

from server.engine import latent

SETS = [frozenset(chosen) for size in range(5) for chosen in combinations(range(4), size)]
AS_IF_ALL_WORK, OPPOSITE = 1, 2


def chain(p_fail: tuple[float, float, float, float]) -> latent.LatentModel:
    """Variable 0: the output was wrong. Variables 1 to 3: the node after inverter 1 to 3."""
    footprints: list[list[tuple[int, int]]] = []
    for faulty in SETS:
        footprint = [] if faulty else [(0, 1)]
        for node in (1, 2, 3):
            before_works = not any(i in faulty for i in range(node))
            after_works = not any(i in faulty for i in range(node, 4))
            if before_works:
                footprint.append((node, AS_IF_ALL_WORK))
            elif after_works:
                footprint.append((node, OPPOSITE))
        footprints.append(footprint)
    log_priors = [math.fsum(math.log(p if i in faulty else 1 - p) for i, p in enumerate(p_fail)) for faulty in SETS]
    node_signatures = [(0.5, 0.5), (1.0, 0.0), (0.0, 1.0)]
    signatures = [[(1.0, 0.0), (0.0, 1.0)], node_signatures, node_signatures, node_signatures]
    return latent.LatentModel(signatures, log_priors, footprints, list(range(len(SETS))))


def answers(p_fail: tuple[float, float, float, float]) -> tuple[list[float], list[float]]:
    """Posterior of each inverter being the single fault, and gain of each node."""
    model = chain(p_fail)
    post = latent.posterior(latent.story_scores(model, [[0.0, -math.inf], None, None, None]))
    singles = [post[SETS.index(frozenset({i}))] for i in range(4)]
    return singles, latent.story_gains(model, post, [1, 2, 3])


def test_equal_inverters_are_probed_in_the_middle() -> None:
    singles, gains = answers((0.01, 0.01, 0.01, 0.01))
    assert singles == approx([0.24624] * 4, abs=1e-5)
    assert gains == approx([0.80376, 0.98995, 0.80376], abs=1e-5)


def test_a_suspect_last_inverter_draws_the_probe_to_its_input() -> None:
    singles, gains = answers((0.01, 0.01, 0.01, 0.025))
    assert singles == approx([0.17710, 0.17710, 0.17710, 0.44956], abs=1e-5)
    assert gains == approx([0.67449, 0.93184, 0.98076], abs=1e-5)
    assert gains.index(max(gains)) == 2
