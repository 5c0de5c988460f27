"""The domain-free inference on a socket-sized model, timed where this file runs: CPython or the phone's Python.

600 stories over 60 variables with 5 outcomes, 10 signatures a variable and 12 decisions: twelve stories
touch everything (a plug off its place), the others one to four variables. Standard library and
`server.engine` only, since the text of this file is also run inside Pyodide.
"""

import json
import math
import random
import statistics
import time
from collections.abc import Callable

from server.engine import latent

N_VARIABLES, N_STORIES, N_OUTCOMES, N_SIGNATURES, N_DECISIONS = 60, 600, 5, 10, 12
N_WIDE = 12


def socket_sized_model(seed: int = 1) -> latent.LatentModel:
    """The model of the module's docstring."""
    rng = random.Random(seed)
    signatures = [[_distribution(rng) for _ in range(N_SIGNATURES)] for _ in range(N_VARIABLES)]
    footprints = []
    for story in range(N_STORIES):
        length = N_VARIABLES if story < N_WIDE else rng.choice((1, 1, 1, 2, 2, 3, 4))
        touched = rng.sample(range(N_VARIABLES), length)
        footprints.append([(c, rng.randrange(1, N_SIGNATURES)) for c in sorted(touched)])
    log_priors = [math.log(rng.random() + 1e-3) for _ in range(N_STORIES)]
    return latent.LatentModel(
        signatures, log_priors, footprints, [rng.randrange(N_DECISIONS) for _ in range(N_STORIES)]
    )


def observed_outcomes(model: latent.LatentModel, n_read: int, seed: int = 2) -> dict[int, int]:
    """`variable -> outcome` for the first `n_read` variables, drawn from the baseline."""
    rng = random.Random(seed)
    return {c: rng.choices(range(N_OUTCOMES), model.signatures[c][0])[0] for c in range(n_read)}


def rows_of(model: latent.LatentModel, observed: dict[int, int]) -> list[list[float] | None]:
    """Log likelihoods of the observed outcomes, as the engine takes them."""
    return [
        [math.log(q[observed[c]]) for q in of_variable] if c in observed else None
        for c, of_variable in enumerate(model.signatures)
    ]


def every_question(model: latent.LatentModel, rows: list[list[float] | None], unread: list[int]) -> None:
    """All an opinion asks of the inference: posterior, per-variable posterior, both gains, pairs."""
    scores = latent.story_scores(model, rows)
    post = latent.posterior(scores)
    latent.outcome_predictions(model, latent.signature_masses(model, post))
    latent.story_gains(model, post, unread)
    latent.decision_outlook(model, post, unread)
    best = sorted(range(len(scores)), key=scores.__getitem__)[-8:]
    latent.second_story_scores(model, rows, scores, best, model.log_priors, max(scores) - 20)


def median_ms(repeats: int = 15) -> str:
    """JSON of the medians: `every_question` with 0, 30 and 60 of 60 read, and building the model."""
    model = socket_sized_model()
    found = {}
    for n_read in (0, 30, 60):
        rows = rows_of(model, observed_outcomes(model, n_read))
        unread = list(range(n_read, N_VARIABLES))
        found[f"{n_read} read"] = _median(lambda rows=rows, unread=unread: every_question(model, rows, unread), repeats)
    parts = (model.signatures, model.log_priors, model.footprints, model.decisions)
    found["built"] = _median(lambda: latent.LatentModel(*parts), repeats)
    return json.dumps(found)


def _median(call: Callable[[], object], repeats: int) -> float:
    call()
    times = []
    for _ in range(repeats):
        start = time.perf_counter()
        call()
        times.append(time.perf_counter() - start)
    return 1000 * statistics.median(times)


def _distribution(rng: random.Random) -> tuple[float, ...]:
    weights = [rng.random() + 1e-2 for _ in range(N_OUTCOMES)]
    total = math.fsum(weights)
    return tuple(weight / total for weight in weights)
