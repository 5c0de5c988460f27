"""Posterior, per-variable posterior and gains against pgmpy's variable elimination, within 1e-9.

Source: pgmpy 1.1.2 or newer (MIT licence; used, not copied), exact inference on a network built from the
same tables. Models are random, of fixed seeds, from 3 stories and 2 variables up to 60 stories and 12.

Does not prove: that the tables describe a socket, only that what follows from them is computed right.
Both sides read the same lists, so a mistake in building a model would be shared.
"""

from typing import TYPE_CHECKING

import pytest
from pytest import approx

from server.engine import latent
from server.engine.latent import LatentModel
from tests.support.latent_models import log_likelihoods, random_model, random_observations

if TYPE_CHECKING:
    from tests.support.pgmpy_oracle import Oracle

SIZES = [(1, 2, 3, 2), (2, 4, 8, 3), (3, 6, 20, 4), (4, 6, 20, 20), (5, 9, 40, 5), (6, 12, 60, 6)]
WITHIN = 1e-9


def _model(seed: int, n_variables: int, n_stories: int, n_decisions: int) -> LatentModel:
    return random_model(seed, n_variables, n_stories, n_decisions, longest_footprint=n_variables)


def _oracle(model: LatentModel) -> "Oracle":
    # pgmpy takes seconds to import, and pytest would have to wait for it in each worker before the first test
    from tests.support.pgmpy_oracle import Oracle

    return Oracle(model)


@pytest.mark.parametrize("size", SIZES)
def test_posterior_and_per_variable_posterior(size: tuple[int, int, int, int]) -> None:
    model = _model(*size)
    oracle = _oracle(model)
    for share in (0.0, 0.5, 1.0):
        observed = random_observations(size[0], model, share)
        post = latent.posterior(latent.story_scores(model, log_likelihoods(model, observed)))
        assert post == approx(oracle.ask("S", observed), abs=WITHIN)
        masses = latent.signature_masses(model, post)
        predictions = latent.outcome_predictions(model, masses)
        for c in range(len(model.signatures)):
            # An observed variable's own signature is still hidden; its mass is the per-contact posterior.
            assert masses[c] == approx(oracle.ask(f"G{c}", observed), abs=WITHIN)
            if c not in observed:
                assert list(predictions[c]) == approx(oracle.ask(f"O{c}", observed), abs=WITHIN)


@pytest.mark.parametrize("size", SIZES)
def test_gain_about_the_story_and_about_the_decision(size: tuple[int, int, int, int]) -> None:
    model = _model(*size)
    oracle = _oracle(model)
    observed = random_observations(size[0] + 100, model, share=0.4)
    unread = [c for c in range(len(model.signatures)) if c not in observed]
    assert unread
    post = latent.posterior(latent.story_scores(model, log_likelihoods(model, observed)))
    assert latent.story_gains(model, post, unread) == approx(
        [oracle.gain("S", c, observed) for c in unread], abs=WITHIN
    )
    assert latent.decision_gains(model, post, unread) == approx(
        [oracle.gain("D", c, observed) for c in unread], abs=WITHIN
    )


def test_the_comparison_would_notice_a_wrong_table() -> None:
    model = _model(2, 4, 8, 3)
    heavier = [model.log_priors[0] + 1e-6, *model.log_priors[1:]]
    other = LatentModel(model.signatures, heavier, model.footprints, model.decisions)
    post = latent.posterior(latent.story_scores(other, log_likelihoods(model, {})))
    assert post != approx(_oracle(model).ask("S", {}), abs=WITHIN)
