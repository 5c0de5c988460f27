"""One case small enough for paper: three stories, two contacts, two outcomes.

A: nothing wrong, prior 1/2, moves nothing. B: contact 0 torn, prior 1/4. C: both torn, prior 1/4.
Healthy reads "drop" with 9/10, torn with 1/10. Decisions: leave it (A), change the socket (B, C).

Contact 0 reads "open". Weights: A 1/2 * 1/10 = 2/40; B 1/4 * 9/10 = 9/40; C the same. So A 1/10,
B 9/20, C 9/20. Contact 1 then shows "drop" with (1/10 + 9/20) * 9/10 + 9/20 * 1/10 = 54/100.
"""

import math

from pytest import approx

from server.engine import latent

HEALTHY, TORN = (0.9, 0.1), (0.1, 0.9)
DROP, OPEN = 0, 1
MODEL = latent.LatentModel(
    signatures=[[HEALTHY, TORN], [HEALTHY, TORN]],
    log_priors=[math.log(2), math.log(1), math.log(1)],
    footprints=[[], [(0, 1)], [(0, 1), (1, 1)]],
    decisions=[0, 1, 1],
)
CONTACT_0_IS_OPEN: list[list[float] | None] = [[math.log(HEALTHY[OPEN]), math.log(TORN[OPEN])], None]


def bits(*parts: float) -> float:
    return sum(-p * math.log2(p) for p in parts)


def test_scores_leave_out_the_baseline_which_all_stories_share() -> None:
    scores = latent.story_scores(MODEL, CONTACT_0_IS_OPEN)
    assert scores == approx([math.log(2), math.log(9), math.log(9)])
    assert latent.baseline_log_likelihood(CONTACT_0_IS_OPEN) == approx(math.log(0.1))
    # 20/40 of the weight of the hand calculation, priors normalised
    assert latent.log_evidence(MODEL, CONTACT_0_IS_OPEN, scores) == approx(math.log(0.5))


def test_posterior_masses_and_prediction() -> None:
    post = latent.posterior(latent.story_scores(MODEL, CONTACT_0_IS_OPEN))
    assert post == approx([0.1, 0.45, 0.45])
    masses = latent.signature_masses(MODEL, post)
    assert masses == [approx([0.1, 0.9]), approx([0.55, 0.45])]
    assert latent.outcome_predictions(MODEL, masses)[1] == approx((0.54, 0.46))


def test_gains_of_the_contact_not_yet_read() -> None:
    post = [0.1, 0.45, 0.45]
    (story_gain,) = latent.story_gains(MODEL, post, [1])
    assert story_gain == approx(bits(0.54, 0.46) - bits(0.9, 0.1))
    # Given "leave it" contact 1 shows a drop with 9/10; given "socket" with (9/20*9/10 + 9/20*1/10)/(9/10) = 1/2.
    (decision_gain,), (change,) = latent.decision_outlook(MODEL, post, [1])
    assert decision_gain == approx(bits(0.54, 0.46) - 0.1 * bits(0.9, 0.1) - 0.9 * 1)
    # After a drop: leave it 0.09, socket 0.45; after an open 0.01 and 0.45. The socket leads either way.
    assert change == 0
    assert latent.test_gain(post, [0, 1, 1], [HEALTHY, HEALTHY, TORN]) == approx(decision_gain)


def test_a_touch_that_can_change_the_mind_says_how_likely_it_does() -> None:
    # Even odds between A and C, a little for A: a drop keeps A, an open (0.51*0.1 + 0.49*0.9) makes it C.
    (_,), (change,) = latent.decision_outlook(MODEL, [0.51, 0.0, 0.49], [1])
    assert change == approx(0.051 + 0.441)
    assert latent.test_outlook([0.51, 0.0, 0.49], [0, 1, 1], [HEALTHY, HEALTHY, TORN])[1] == approx(0.492)
