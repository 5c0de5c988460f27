"""What no model can be built from is refused with the place; what is merely impossible is survived."""

import math
from typing import Any

import pytest
from pytest import approx

from server.engine import latent

Q = [(0.9, 0.1), (0.1, 0.9)]


@pytest.mark.parametrize(
    ("given", "says"),
    [
        (([[]], [0.0], [[]], [0]), "variable 0 has no signature"),
        (([[(0.9, 0.2)]], [0.0], [[]], [0]), "variable 0, signature 0 is (0.9, 0.2), which is no distribution"),
        (([[(1.1, -0.1)]], [0.0], [[]], [0]), "which is no distribution"),
        (([[(math.nan, 1.0)]], [0.0], [[]], [0]), "which is no distribution"),
        (([[(0.9, 0.1), (1.0,)]], [0.0], [[]], [0]), "variable 0, signature 1 has 1 outcomes, expected 2"),
        (([Q], [], [], []), "0 log priors, 0 footprints and 0 decisions"),
        (([Q], [0.0], [[], []], [0]), "1 log priors, 2 footprints and 1 decisions"),
        (([Q], [math.nan], [[]], [0]), "story 0 has log prior nan"),
        (([Q], [0.0], [[]], [-1]), "story 0 has decision -1"),
        (([Q], [0.0], [[(0, 0)]], [0]), "story 0 names signature 0 of variable 0"),
        (([Q], [0.0], [[(0, 2)]], [0]), "story 0 names signature 2 of variable 0"),
        (([Q], [0.0], [[(1, 1)]], [0]), "story 0 names signature 1 of variable 1"),
        (([Q], [0.0], [[(-1, 1)]], [0]), "story 0 names signature 1 of variable -1"),
        (([Q], [0.0], [[(0, 1), (0, 1)]], [0]), "story 0 names variable 0 twice"),
    ],
)
def test_a_model_that_does_not_fit_is_refused_with_the_place(given: Any, says: str) -> None:
    with pytest.raises(ValueError) as refused:
        latent.LatentModel(*given)
    assert says in str(refused.value)


def test_an_outcome_the_baseline_calls_impossible_leaves_finite_odds() -> None:
    model = latent.LatentModel([[(1.0, 0.0), (0.5, 0.5)]] * 2, [0.0] * 3, [[], [(0, 1)], [(0, 1), (1, 1)]], [0, 1, 2])
    impossible_for_baseline: list[list[float] | None] = [[-math.inf, math.log(0.5)], [-math.inf, math.log(0.5)]]
    post = latent.posterior(latent.story_scores(model, impossible_for_baseline))
    assert post == approx([0, 0, 1], abs=1e-300)


def test_when_no_story_fits_the_posterior_is_what_was_known_before() -> None:
    model = latent.LatentModel([[(1.0, 0.0), (1.0, 0.0)]], [math.log(3), 0.0], [[], [(0, 1)]], [0, 1])
    post = latent.posterior(latent.story_scores(model, [[-math.inf, -math.inf]]))
    assert post == approx([0.75, 0.25])


def test_scores_of_thousands_neither_overflow_nor_vanish() -> None:
    assert latent.posterior([10_000.0, 10_000.0, 9_000.0]) == approx([0.5, 0.5, 0.0])
    assert latent.posterior([-10_000.0, -10_000.0 + math.log(3)]) == approx([0.25, 0.75])


def test_no_possible_story_is_an_error_not_a_nan() -> None:
    with pytest.raises(ValueError, match="no story is possible: the largest of 2 scores is -inf"):
        latent.posterior([-math.inf, -math.inf])
    with pytest.raises(ValueError, match="hypotheses weigh 0"):
        latent.test_gain([0.0, 0.0], [0, 1], [Q[0], Q[1]])


def test_a_list_for_another_model_is_not_taken() -> None:
    model = latent.LatentModel([Q, Q], [0.0], [[]], [0])
    with pytest.raises(ValueError):
        latent.story_scores(model, [None])
    with pytest.raises(ValueError):
        latent.signature_masses(model, [0.5, 0.5])
