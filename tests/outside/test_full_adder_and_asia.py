"""Two published models through the engine's own posterior: Reiter's full adder, and the chest clinic network "Asia".

Sources. R. Reiter 1987, "A theory of diagnosis from first principles": a full adder of gates X1, X2 (xor), A1, A2
(and), O1 (or), inputs 1, 0, 1, seen sum 1 and carry 0; minimal diagnoses {X1}, {X2, A2}, {X2, O1} and minimal
conflicts {X1, X2}, {X1, A2, O1}, *recomputed* here from the gates (that the paper prints these: from memory).
S. L. Lauritzen and D. J. Spiegelhalter 1988, the eight-node network "Asia": tables as the R package gRain prints
them, P(asia and dyspnoea) and the marginals of t, l, b without evidence as its tests print them; the rest is
*computed* by enumeration, agreeing with two other libraries.

A story is a set of faulty gates, or a joint state of the causes; what is seen at one place is a variable. Does not
prove: that a socket's stories are such gates.
"""

import math
from itertools import combinations, product

import pytest

from server.engine import latent

# ---- the full adder ------------------------------------------------------------------------------------------------

GATES = ("X1", "X2", "A1", "A2", "O1")
FAULTY_SETS = [frozenset(chosen) for size in range(6) for chosen in combinations(GATES, size)]


def can_show(faulty: frozenset[str], seen: tuple[int, int]) -> bool:
    """Whether some outputs of the faulty gates give that sum and carry, for the inputs 1, 0, 1."""
    a, b, carry_in = 1, 0, 1
    for x1, x2, a1, a2, o1 in product((0, 1), repeat=5):
        right = {"X1": a ^ b, "X2": x1 ^ carry_in, "A1": a & b, "A2": carry_in & x1, "O1": a1 | a2}
        out = {"X1": x1, "X2": x2, "A1": a1, "A2": a2, "O1": o1}
        if all(gate in faulty or out[gate] == right[gate] for gate in GATES) and (x2, o1) == seen:
            return True
    return False


def sets(*told: str) -> set[frozenset[str]]:
    return {frozenset(one.split()) for one in told}


def test_the_full_adders_minimal_diagnoses_and_conflicts() -> None:
    """One variable: what was seen, as sure as each set of faulty gates allows it."""
    footprints = [[(0, 1)] if can_show(faulty, (1, 0)) else [] for faulty in FAULTY_SETS]
    priors = [math.fsum(math.log(0.01 if gate in faulty else 0.99) for gate in GATES) for faulty in FAULTY_SETS]
    model = latent.LatentModel([[(1.0, 0.0), (0.0, 1.0)]], priors, footprints, list(range(len(FAULTY_SETS))))
    post = latent.posterior(latent.story_scores(model, [[-math.inf, 0.0]]))
    possible = [faulty for faulty, p in zip(FAULTY_SETS, post, strict=True) if p > 1e-100]
    minimal = {faulty for faulty in possible if not any(other < faulty for other in possible)}
    assert minimal == sets("X1", "X2 A2", "X2 O1")
    working = [frozenset(GATES) - faulty for faulty in FAULTY_SETS if faulty not in possible]
    assert {one for one in working if not any(other < one for other in working)} == sets("X1 X2", "X1 A2 O1")
    assert post[FAULTY_SETS.index(frozenset({"X1"}))] > 0.9, "one fault before two"


# ---- the chest clinic -------------------------------------------------------------------------------------------

CAUSES = ("a", "t", "s", "l", "b")
YES = {"t": {1: 0.05, 0: 0.01}, "l": {1: 0.10, 0: 0.01}, "b": {1: 0.6, 0: 0.3}}
D_YES = {(1, 1): 0.9, (1, 0): 0.7, (0, 1): 0.8, (0, 0): 0.1}
STATES = list(product((1, 0), repeat=5))
ASIA, X_RAY, DYSPNOEA = range(3)
NOT_NORMALISED = 1.7
"""Added to every story's log prior: only their ratios have a meaning."""


def clinic() -> latent.LatentModel:
    """A story for each joint state of the causes; variables: asia, x-ray, dyspnoea."""
    signatures: list[list[tuple[float, ...]]] = [
        [(1.0, 0.0), (0.0, 1.0)],
        [(0.95, 0.05), (0.02, 0.98)],
        [(0.9, 0.1), (0.2, 0.8), (0.3, 0.7), (0.1, 0.9)],
    ]
    of_dyspnoea = {(0, 0): 0, (0, 1): 1, (1, 0): 2, (1, 1): 3}
    priors, footprints = [], []
    for a, t, s, lung, b in STATES:
        chances = (0.01 if a else 0.99, YES["t"][a], 0.5, YES["l"][s], YES["b"][s])
        given = [chances[0], 0.5, *(p if on else 1 - p for p, on in zip(chances[1::2], (t, lung), strict=True))]
        given.append(chances[-1] if b else 1 - chances[-1])
        priors.append(math.fsum(math.log(one) for one in given) + NOT_NORMALISED)
        either = int(t or lung)
        moved = [(ASIA, 1)] if a else []
        moved += [(X_RAY, 1)] if either else []
        moved += [(DYSPNOEA, of_dyspnoea[either, b])] if of_dyspnoea[either, b] else []
        footprints.append(moved)
    return latent.LatentModel(signatures, priors, footprints, [0] * len(STATES))


def asked(**evidence: int) -> tuple[float, dict[str, float]]:
    """P(evidence), and the probability of each cause and of "tuberculosis or cancer" given it."""
    model = clinic()
    seen: list[list[float] | None] = [None, None, None]
    for name, told in evidence.items():
        variable = {"a": ASIA, "x": X_RAY, "d": DYSPNOEA}[name]
        seen[variable] = [math.log(max(one[told], 1e-300)) for one in model.signatures[variable]]
    scores = latent.story_scores(model, seen)
    post = latent.posterior(scores)
    of_states = list(zip(post, STATES, strict=True))
    given = {name: math.fsum(p for p, state in of_states if state[n]) for n, name in enumerate(CAUSES)}
    given["e"] = math.fsum(p for p, state in of_states if state[1] or state[3])
    return math.exp(latent.log_evidence(model, seen, scores)), given


@pytest.mark.parametrize(
    ("evidence", "likely", "t", "lung", "b", "e"),
    [
        ({}, 1.0, 0.0104, 0.055, 0.45, 0.064828),
        ({"a": 1, "d": 1}, 0.004501375, 0.087751, 0.099525, 0.811402, 0.182300),
        ({"a": 1, "d": 1, "x": 0}, 0.00351315, 0.002249, 0.002550, 0.862761, 0.004672),
        ({"a": 1, "x": 1, "d": 1}, 0.00098823, 0.391712, 0.444271, 0.628822, 0.813769),
        ({"x": 1}, 0.11029004, 0.092411, 0.488711, 0.506326, 0.576040),
    ],
)
def test_the_chest_clinic(
    evidence: dict[str, int], likely: float, t: float, lung: float, b: float, e: float
) -> None:
    told, given = asked(**evidence)
    assert told == pytest.approx(likely, abs=1e-6)
    assert (given["t"], given["l"], given["b"], given["e"]) == pytest.approx((t, lung, b, e), abs=1.5e-6)


def test_what_the_next_finding_would_show() -> None:
    model = clinic()
    post = latent.posterior(latent.story_scores(model, [None, None, None]))
    predicted = latent.outcome_predictions(model, latent.signature_masses(model, post))
    assert predicted[X_RAY][1] == pytest.approx(0.110290, abs=1e-6)
    assert predicted[DYSPNOEA][1] == pytest.approx(0.435971, abs=1e-6)
