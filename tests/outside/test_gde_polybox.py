"""The polybox of de Kleer and Williams through the engine's own posterior and gain.

Source: J. de Kleer and B. C. Williams 1987, "Diagnosing multiple faults", Artificial Intelligence
32:97-130. Circuit X = A*C (M1), Y = B*D (M2), Z = C*E (M3), F = X+Y (A1), G = Y+Z (A2); A=3 B=2 C=2
D=3 E=3; seen F=10 (12 expected), G=12. A faulty part may put out anything. Minimal candidates, the
candidates after X=4, X=6 and X neither, and X as the best probe: confirmed in public lecture slides
that print them (M. Kalech after B. Williams; a knowledge engineering course). The conflicts, the
number of consistent sets and every decimal below are *computed* from the paper's definitions (each
part fails with 0.01), not printed by a source we read.

Convention for a value nothing predicts: spread evenly over m = 16 values, which makes the gain a
mutual information. The paper's own score lacks that last term; its ranking is checked too.

Stories are the 32 sets of faulty parts. Variable 0 is what was seen at F and G, 1 to 3 are the probes
X, Y, Z. What a set predicts is found below by trying all values of X, Y, Z, with no code of the engine.

Does not prove: that a repairer's stories are as independent as these parts.
"""

import math
from itertools import combinations, product

from pytest import approx

from server.engine import latent

PARTS: tuple[str, ...] = ("M1", "M2", "M3", "A1", "A2")
VALUES = range(16)
P_FAIL = 0.01
SETS: list[frozenset[str]] = [frozenset(chosen) for size in range(6) for chosen in combinations(PARTS, size)]
SEEN, X, Y, Z = range(4)


def solutions(faulty: frozenset[str]) -> list[tuple[int, int, int]]:
    """All (X, Y, Z) that F = 10, G = 12 and the working parts allow."""
    return [
        (x, y, z)
        for x, y, z in product(VALUES, repeat=3)
        if ("M1" in faulty or x == 6)
        and ("M2" in faulty or y == 6)
        and ("M3" in faulty or z == 6)
        and ("A1" in faulty or x + y == 10)
        and ("A2" in faulty or y + z == 12)
    ]


def polybox() -> latent.LatentModel:
    spread = tuple(1 / len(VALUES) for _ in VALUES)
    exactly = [tuple(1.0 if v == value else 0.0 for v in VALUES) for value in VALUES]
    probe = [spread, *exactly]
    footprints: list[list[tuple[int, int]]] = []
    for faulty in SETS:
        possible = solutions(faulty)
        footprint = [] if possible else [(SEEN, 1)]
        for place, probe_index in enumerate((X, Y, Z)):
            at_place = {solution[place] for solution in possible}
            if len(at_place) == 1:
                footprint.append((probe_index, 1 + at_place.pop()))
        footprints.append(footprint)
    log_priors = [len(s) * math.log(P_FAIL) + (5 - len(s)) * math.log(1 - P_FAIL) for s in SETS]
    seen = [(1.0, 0.0), (0.0, 1.0)]
    return latent.LatentModel([seen, probe, probe, probe], log_priors, footprints, list(range(len(SETS))))


MODEL = polybox()


def posterior_after(**probed: int) -> list[float]:
    ll: list[list[float] | None] = [[math.log(1.0), -math.inf], None, None, None]
    for name, value in probed.items():
        variable = {"X": X, "Y": Y, "Z": Z}[name]
        ll[variable] = [math.log(q[value]) if q[value] else -math.inf for q in MODEL.signatures[variable]]
    return latent.posterior(latent.story_scores(MODEL, ll))


def minimal(post: list[float]) -> set[frozenset[str]]:
    possible = [s for s, p in zip(SETS, post, strict=True) if p > 1e-100]
    return {s for s in possible if not any(other < s for other in possible)}


def sets(*names: str) -> set[frozenset[str]]:
    return {frozenset(name.split()) for name in names}


def test_minimal_candidates_are_the_papers() -> None:
    post = posterior_after()
    assert minimal(post) == sets("M1", "A1", "M2 M3", "A2 M2")
    possible = [s for s, p in zip(SETS, post, strict=True) if p > 1e-100]
    assert [sum(len(s) == size for s in possible) for size in range(6)] == [0, 2, 9, 10, 5, 1]


def test_minimal_conflicts_are_the_sets_of_working_parts_that_cannot_all_work() -> None:
    impossible = [frozenset(PARTS) - s for s, p in zip(SETS, posterior_after(), strict=True) if p <= 1e-100]
    conflicts = {working for working in impossible if not any(other < working for other in impossible)}
    assert conflicts == sets("A1 M1 M2", "A1 A2 M1 M3")


def test_candidates_after_probing_x_are_the_printed_ones() -> None:
    assert minimal(posterior_after(X=4)) == sets("M1")
    assert minimal(posterior_after(X=6)) == sets("A1", "M2 M3", "A2 M2")
    assert minimal(posterior_after(X=5)) == sets("A1 M1", "M1 M2 M3", "A2 M1 M2")


def test_posterior_and_its_entropy() -> None:
    post = dict(zip(SETS, posterior_after(), strict=True))
    assert post[frozenset({"M1"})] == approx(0.478026, abs=1e-6)
    assert post[frozenset({"A1"})] == approx(0.478026, abs=1e-6)
    doubles = [p for s, p in post.items() if len(s) == 2 and p > 1e-100]
    assert doubles == approx([0.004829] * 9, abs=1e-6)
    assert math.fsum(-p * math.log2(p) for p in post.values() if p > 1e-100) == approx(1.359445, abs=1e-6)


def test_what_each_probe_is_predicted_to_show() -> None:
    masses = latent.signature_masses(MODEL, posterior_after())
    unpredicted, at = 0, lambda value: 1 + value
    assert [masses[X][g] for g in (at(4), at(6), unpredicted)] == approx([0.492561, 0.502365, 0.005074], abs=1e-6)
    assert [masses[Y][g] for g in (at(6), at(4), unpredicted)] == approx([0.990097, 0.009706, 0.000197], abs=1e-6)
    assert [masses[Z][g] for g in (at(6), at(8), unpredicted)] == approx([0.994926, 0.004829, 0.000246], abs=1e-6)


def test_the_best_next_probe_is_x() -> None:
    gains = latent.story_gains(MODEL, posterior_after(), [X, Y, Z])
    assert gains == approx([1.03319, 0.08119, 0.04698], abs=1e-5)
    assert gains.index(max(gains)) == 0


def test_the_papers_own_score_ranks_the_probes_alike() -> None:
    masses = latent.signature_masses(MODEL, posterior_after())
    scores = [math.fsum(-w * math.log2(w) for w in masses[probe] if w > 1e-100) for probe in (X, Y, Z)]
    assert scores == approx([1.0408, 0.0815, 0.0474], abs=1e-4)
