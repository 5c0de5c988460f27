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
elsewhere; here it is only counted. This also runs on the phone: plain lists, no calls in inner loops.

`model.py` what is known beforehand, `posterior.py` what the readings say, `gains.py` what the next one
would, `several.py` two stories at once and stories that look alike.
"""

from server.engine.latent.gains import decision_gains, decision_outlook, story_gains, test_gain, test_outlook
from server.engine.latent.model import LatentModel
from server.engine.latent.posterior import (
    baseline_log_likelihood,
    log_evidence,
    outcome_predictions,
    posterior,
    signature_masses,
    story_scores,
)
from server.engine.latent.several import same_prediction_groups, second_story_scores, with_pairs

__all__ = [
    "LatentModel",
    "baseline_log_likelihood",
    "decision_gains",
    "decision_outlook",
    "log_evidence",
    "outcome_predictions",
    "posterior",
    "same_prediction_groups",
    "second_story_scores",
    "signature_masses",
    "story_gains",
    "story_scores",
    "test_gain",
    "test_outlook",
    "with_pairs",
]
