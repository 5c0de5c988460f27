"""Two stories at once, and stories that predict the same."""

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st
from pytest import approx

from server.engine import latent
from tests.support.latent_models import by_enumeration, log_likelihoods, random_model, random_observations

SEEDS = st.integers(0, 2**32 - 1)


@given(SEEDS)
def test_a_pair_scores_as_one_story_with_both_footprints(seed: int) -> None:
    model = random_model(seed, n_variables=8, longest_footprint=3)
    ll = log_likelihoods(model, random_observations(seed, model))
    scores = latent.story_scores(model, ll)
    factors = [-1.0 - 0.1 * s for s in range(len(scores))]
    pairs = latent.second_story_scores(model, ll, scores, [3, 0, 7], factors)
    for score, a, b in pairs:
        both = latent.LatentModel(
            model.signatures,
            [model.log_priors[a] + factors[b]],
            [model.footprints[a] + model.footprints[b]],
            [0],
        )
        assert latent.story_scores(both, ll) == approx([score])
    assert [score for score, _, _ in pairs] == sorted((score for score, _, _ in pairs), reverse=True)


@given(SEEDS)
def test_exactly_the_disjoint_pairs_are_tried_each_once(seed: int) -> None:
    model = random_model(seed, n_variables=8, longest_footprint=3)
    ll = log_likelihoods(model, {})
    scores = latent.story_scores(model, ll)
    pairs = latent.second_story_scores(model, ll, scores, [3, 0, 7], [0.0] * len(scores))
    touched = [{c for c, _ in footprint} for footprint in model.footprints]
    wanted = {
        frozenset((a, b))
        for a in (3, 0, 7)
        for b in range(len(scores))
        if touched[a] and touched[b] and not touched[a] & touched[b]
    }
    assert {frozenset((a, b)) for _, a, b in pairs} == wanted
    assert len(pairs) == len(wanted)
    assert all(a in (3, 0, 7) for _, a, _ in pairs)


def test_a_barred_second_story_and_a_floor_leave_pairs_out() -> None:
    healthy, torn = (0.9, 0.1), (0.1, 0.9)
    model = latent.LatentModel([[healthy, torn]] * 3, [0.0] * 4, [[], [(0, 1)], [(1, 1)], [(2, 1)]], [0, 1, 1, 1])
    ll = log_likelihoods(model, {0: 1, 1: 1})
    scores = latent.story_scores(model, ll)
    factors = [0.0, -3.0, -3.0, -math.inf]
    assert [(a, b) for _, a, b in latent.second_story_scores(model, ll, scores, [1], factors)] == [(1, 2)]
    (score, _, _), *_ = latent.second_story_scores(model, ll, scores, [1], factors)
    assert score == approx(2 * math.log(9) - 3)
    assert latent.second_story_scores(model, ll, scores, [1], factors, at_least=score + 1e-6) == []
    # Story 0 moves nothing: alone it is "nothing", beside another story it is that other story.
    assert latent.second_story_scores(model, ll, scores, [0], factors) == []


@given(SEEDS)
def test_pairs_added_to_the_model_count_as_stories(seed: int) -> None:
    model = random_model(seed, n_variables=8, longest_footprint=3)
    observed = random_observations(seed, model)
    ll = log_likelihoods(model, observed)
    scores = latent.story_scores(model, ll)
    best = latent.second_story_scores(model, ll, scores, [0, 1, 2], [-2.0] * len(scores))[:5]
    pairs = [(a, b) for _, a, b in best]
    wider = latent.with_pairs(
        model, pairs, [model.log_priors[a] - 2.0 for a, _ in pairs], [model.decisions[a] + (a > b) for a, b in pairs]
    )
    wider_scores = latent.story_scores(wider, ll)
    assert wider_scores[len(scores) :] == approx([score for score, _, _ in best])
    slow = by_enumeration(wider, observed)
    post = latent.posterior(wider_scores)
    assert post == approx(slow.posterior, abs=1e-10)
    every = list(range(len(model.signatures)))
    assert latent.story_gains(wider, post, every) == approx(slow.story_gains, abs=1e-10)
    gains, changes = latent.decision_outlook(wider, post, every)
    assert gains == approx(slow.decision_gains, abs=1e-10)
    assert changes == approx(slow.change_chances, abs=1e-10)
    # It shares much with the narrower model, which must not have changed under it.
    assert latent.decision_gains(model, latent.posterior(scores), every) == approx(
        by_enumeration(model, observed).decision_gains, abs=1e-10
    )


@given(SEEDS)
def test_a_pair_that_shares_a_variable_is_refused(seed: int) -> None:
    model = random_model(seed, n_variables=3)
    touched = [{c for c, _ in footprint} for footprint in model.footprints]
    for a in range(len(touched)):
        for b in range(a):
            if touched[a] & touched[b]:
                with pytest.raises(ValueError, match=f"stories {a} and {b} name the same variable"):
                    latent.with_pairs(model, [(a, b)], [0.0], [0])


def test_stories_with_equal_footprints_share_a_group_whatever_their_order() -> None:
    a, b, c = (0.9, 0.1), (0.5, 0.5), (0.1, 0.9)
    model = latent.LatentModel(
        [[a, b, c, b], [a, b]],
        [0.0] * 6,
        [[], [(0, 1)], [(1, 1), (0, 2)], [(0, 3)], [(0, 2), (1, 1)], [(0, 2)]],
        [0] * 6,
    )
    assert latent.same_prediction_groups(model) == [0, 1, 2, 1, 2, 3]
    # Only variable 1 looked at: it tells nothing of stories 0, 1, 3, 5.
    assert latent.same_prediction_groups(model, variables=[1]) == [0, 0, 1, 0, 1, 0]
    assert latent.same_prediction_groups(model, variables=[]) == [0] * 6


def test_signatures_within_the_tolerance_do_not_separate_groups() -> None:
    model = latent.LatentModel([[(0.9, 0.1), (0.895, 0.105), (0.8, 0.2)]], [0.0] * 3, [[], [(0, 1)], [(0, 2)]], [0] * 3)
    assert latent.same_prediction_groups(model) == [0, 1, 2]
    assert latent.same_prediction_groups(model, tolerance=0.01) == [0, 0, 1]
    assert latent.same_prediction_groups(model, tolerance=0.2) == [0, 0, 0]


@given(SEEDS)
def test_stories_of_one_group_keep_their_prior_odds_whatever_is_read(seed: int) -> None:
    model = random_model(seed, n_variables=2, n_stories=14, longest_footprint=1)
    groups = latent.same_prediction_groups(model)
    observed = random_observations(seed, model, share=1.0)
    scores = latent.story_scores(model, log_likelihoods(model, observed))
    for s, group in enumerate(groups):
        first = groups.index(group)
        assert scores[s] - scores[first] == approx(model.log_priors[s] - model.log_priors[first], abs=1e-12)
