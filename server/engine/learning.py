"""What a shop's closed jobs teach: how often what happens, what a voltage does, how often a touch fails, what mends.

Pure, and the same on both sides: the closings in, `Learnt` out, whose `shop` goes into every bench sheet. Each is a
conjugate estimate with the table as a prior of a stated worth: shares of stories (Dirichlet, `PRIOR_JOBS`), states of
lines of one exposure (Dirichlet, `PRIOR_LINES`), failed touches (beta, `PRIOR_TOUCHES`), and mending (`past_mends`).

What was said at the counter is known before any reading and has its own factors in the table; it must not be learnt
a second time. So a kind of story's weight is what its jobs are beside what was to be expected of the same intakes:
the mode of independent gamma priors under a likelihood of choices, found by the fixed point of Caron and Doucet
(Efficient Bayesian inference for generalized Bradley-Terry models, 2012; from memory). Where nothing was said it is
the mean of the Dirichlet posterior exactly.
"""

import math
from collections.abc import Sequence

from server.engine.closings import counted
from server.engine.constants.learning import (
    LEARNING_ROUNDS,
    LEARNING_SETTLED,
    PRIOR_JOBS,
    PRIOR_LINES,
    PRIOR_TOUCHES,
)
from server.engine.constants.overstress import FLIP_BY_SOCKET, SLIP_BY_SOCKET, TILT_BY_SOCKET
from server.engine.constants.readings import FINE_PITCH_MM, TOUCH_FAILS_FINE, TOUCH_FAILS_WIDE
from server.engine.constants.stories import SHARE
from server.engine.exposures import EXPOSURE_WORDS, EXPOSURES
from server.engine.learning_words import NOT_LEARNT, not_counted, together
from server.engine.past_mends import mends_learnt, past_mends
from server.engine.rounding import factor, probability
from server.engine.stories.kinds import families_of, said_factors
from shared_models.closing import Closing
from shared_models.closing_words import STORY_WORDS
from shared_models.learning import (
    ExposureLearnt,
    LearningQuestion,
    Learnt,
    MendLearnt,
    NotCounted,
    StateLearnt,
    StoryLearnt,
    TouchesLearnt,
)
from shared_models.sheet import ExposureOdds, Shop, ShopWeight

KINDS = tuple(kind for kind in STORY_WORDS if families_of(kind))
"""Kinds of stories that the table has a share of, in a fixed order."""


def learnt(question: LearningQuestion) -> Learnt:
    """What all closings of a shop that are not taken back say beside the table."""
    figures = question.figures
    since_ms = figures.learnt_from_ms if figures is not None else 0
    held, disputed = counted(question.closings)
    late = [one for one in held if one.closed_at_ms > since_ms]
    early = [one.job_id for one in held if one.closed_at_ms <= since_ms]
    aside = [not_counted("disputed", disputed), *_not_counted(late), not_counted("before_reset", early)]
    telling = [(one, shares) for one in late if (shares := _shares(one))]
    stories = _stories(telling)
    exposures = [_exposure(name, late) for name in EXPOSURES]
    touches = [_touches(pitch, late) for pitch in ("wide", "fine")]
    mends = mends_learnt(late)
    learns = figures is None or figures.learn
    return Learnt(
        learns=learns,
        jobs=len(telling),
        prior_jobs=PRIOR_JOBS,
        shop=_shop(len(telling), stories, exposures, touches, mends) if learns else None,
        stories=tuple(stories),
        exposures=tuple(one for one in exposures if one.lines),
        touches=tuple(one for one in touches if one.touches),
        mends=mends,
        not_counted=tuple(one for one in aside if one.job_ids),
        not_learnt=NOT_LEARNT,
    )


def learnt_shop(question: LearningQuestion) -> Shop | None:
    """What opinions are formed with; None where nothing was learnt, or learning is switched off."""
    return learnt(question).shop


def _not_counted(late: list[Closing]) -> list[NotCounted]:
    unknown = [one.job_id for one in late if not one.was_wrong]
    believed = [one.job_id for one in late if one.was_wrong and not _shown(one)]
    elsewhere = [one.job_id for one in late if _shown(one) and not _shares(one)]
    return [
        not_counted("never_found_out", unknown),
        not_counted("only_believed", believed),
        not_counted("not_in_table", elsewhere),
    ]


def _shown(closing: Closing) -> list[str]:
    """Kinds of stories that were shown to be true; what was only believed would teach the odds their own opinion."""
    return sorted({one.story for one in closing.was_wrong if one.how_known != "believed"})


def _shares(closing: Closing) -> dict[str, float]:
    """Each kind the job counts for, and how much: a job counts once, shared evenly by what was wrong."""
    kinds = [kind for kind in _shown(closing) if kind in KINDS]
    return {kind: 1 / len(kinds) for kind in kinds}


def table_shares() -> dict[str, float]:
    """The table's share of each kind of story where nothing was said; they add up to one."""
    total = math.fsum(SHARE.values())
    return {kind: math.fsum(SHARE[family] for family in families_of(kind)) / total for kind in KINDS}


def _expected(closing: Closing, truth: dict[str, float]) -> tuple[float, ...]:
    """How the table shares out the kinds for what was said of this job and for its kind of socket."""
    factors = said_factors(closing.what_happened, closing.symptoms)
    kind = closing.socket_kind
    if kind is not None:
        scales = {"plug_off_by": SLIP_BY_SOCKET, "plug_tilted": TILT_BY_SOCKET, "cable_flipped": FLIP_BY_SOCKET}
        for story, by_socket in scales.items():
            scale = by_socket.get(kind, 0.0)
            # a job that was what its socket does not allow is told by the table as of any socket
            factors[story] *= scale if scale > 0 or story not in truth else 1.0
    total = math.fsum(SHARE.values())
    return tuple(math.fsum(SHARE[one] * factors[one] for one in families_of(story)) / total for story in KINDS)


def story_weights(jobs: Sequence[tuple[tuple[float, ...], dict[str, float]]]) -> dict[str, float]:
    """The factor on the table's share of each kind: for each job what was to be expected and what it was.

    A fixed point; the weighted shares of the table add up to one.
    """
    shares = table_shares()
    table = [shares[kind] for kind in KINDS]
    were = [math.fsum(truth.get(kind, 0.0) for _, truth in jobs) for kind in KINDS]
    alike: dict[tuple[float, ...], int] = {}
    for expected, _ in jobs:
        alike[expected] = alike.get(expected, 0) + 1
    weights = [1.0] * len(KINDS)
    for _ in range(LEARNING_ROUNDS):
        below = [PRIOR_JOBS * share for share in table]
        for expected, count in alike.items():
            total = math.fsum(one * by for one, by in zip(expected, weights, strict=True))
            below = [under + count * one / total for under, one in zip(below, expected, strict=True)]
        fresh = [
            (PRIOR_JOBS * share + was) / under for share, was, under in zip(table, were, below, strict=True)
        ]
        scale = math.fsum(share * by for share, by in zip(table, fresh, strict=True))
        fresh = [by / scale for by in fresh]
        moved = max(abs(new - old) * share for new, old, share in zip(fresh, weights, table, strict=True))
        weights = fresh
        if moved < LEARNING_SETTLED:
            break
    return dict(zip(KINDS, weights, strict=True))


def _stories(telling: list[tuple[Closing, dict[str, float]]]) -> list[StoryLearnt]:
    if not telling:
        return []
    weights = story_weights([(_expected(one, truth), truth) for one, truth in telling])
    shares = table_shares()
    return [
        StoryLearnt(
            story=kind,  # pyright: ignore[reportArgumentType]
            words=STORY_WORDS[kind],
            jobs=factor(math.fsum(truth.get(kind, 0.0) for _, truth in telling)),
            in_table=probability(shares[kind]),
            learnt=probability(shares[kind] * weights[kind]),
        )
        for kind in KINDS
    ]


def _exposure(name: str, held: list[Closing]) -> ExposureLearnt:
    """Lines of one class: how many were found in each state the table knows, and the posterior mean of each share."""
    table = EXPOSURES[name]
    met = [line.found for one in held for line in one.met_voltage if line.exposure == name]
    found: list[str] = [state for state in met if state in table]
    return ExposureLearnt(
        exposure=name,
        words=EXPOSURE_WORDS[name],
        lines=len(found),
        states=tuple(
            StateLearnt(
                state=state,
                lines=found.count(state),
                in_table=probability(share),
                learnt=probability((PRIOR_LINES * share + found.count(state)) / (PRIOR_LINES + len(found))),
            )
            for state, share in table.items()
        ),
    )


def _touches(pitch: str, held: list[Closing]) -> TouchesLearnt:
    """First touches at one pitch: the posterior mean of the share that fails."""
    fine = pitch == "fine"
    of_pitch = [one for one in held if one.pitch_mm is not None and (one.pitch_mm < FINE_PITCH_MM) == fine]
    touches = together(one.touches for one in of_pitch)
    failed = together(min(one.failed_touches, one.touches) for one in of_pitch)
    table = TOUCH_FAILS_FINE if fine else TOUCH_FAILS_WIDE
    return TouchesLearnt(
        pitch="fine" if fine else "wide",
        words="at a fine pitch" if fine else "at half a millimetre and more",
        touches=touches,
        failed=failed,
        in_table=probability(table),
        learnt=probability((PRIOR_TOUCHES * table + failed) / (PRIOR_TOUCHES + touches)),
    )


def _shop(
    jobs: int,
    stories: list[StoryLearnt],
    exposures: list[ExposureLearnt],
    touches: list[TouchesLearnt],
    mends: tuple[MendLearnt, ...],
) -> Shop | None:
    wide, fine = touches
    lines = [one for one in exposures if one.lines]
    if not (jobs or lines or wide.touches or fine.touches or mends):
        return None
    return Shop(
        weights=tuple(
            ShopWeight(story=one.story, factor=factor(one.learnt / one.in_table)) for one in stories if one.in_table > 0
        ),
        exposures=tuple(
            ExposureOdds(
                exposure=one.exposure, lines=one.lines, odds={state.state: state.learnt for state in one.states}
            )
            for one in lines
        ),
        touch_fails_wide=wide.learnt if wide.touches else None,
        touch_fails_fine=fine.learnt if fine.touches else None,
        learnt_jobs=jobs,
        learnt_touches=wide.touches + fine.touches,
        mends=past_mends(mends),
    )
