"""Which closings of a shop count: one a job, none while two of them differ.

A closing is a fact and stays. Two technicians may close one job; a third closing that names theirs in
`supersedes` says which holds. Until then a job whose closings differ teaches nothing.
"""

from collections.abc import Sequence

import msgspec

from shared_models.closing import Closing


def standing(closings: Sequence[Closing]) -> list[Closing]:
    """Of one job's closings those that no other one supersedes, oldest first.

    Where each is superseded by another, in a ring, nobody has said which holds: all of them stand.
    """
    named = {each for one in closings for each in one.supersedes if each != one.id}
    stands = [one for one in closings if one.id not in named] or list(closings)
    return sorted(stands, key=lambda one: (one.closed_at_ms, one.id))


def differ(closings: Sequence[Closing]) -> bool:
    """Whether closings of one job say different things: of what was wrong, what was done, or how it ended."""
    return len({_what_it_says(one) for one in closings}) > 1


def same_subject(written: str, told: str) -> bool:
    """Whether what a person wrote names a story's subject: "30 - 28" is "28-30", "f3" is "F3", "1" is "+1"."""
    return _plain(written) == _plain(told)


def _plain(subject: str) -> list[str]:
    bare = subject.upper().replace(" ", "").replace("\N{EN DASH}", "-").lstrip("+")
    # what a minus begins is a number of places, not a pair
    return sorted(bare.split("-")) if not bare.startswith("-") else [bare]


def by_job(closings: Sequence[Closing]) -> dict[str, list[Closing]]:
    """The closings of each job, jobs in the order of their ids."""
    jobs: dict[str, list[Closing]] = {}
    for one in closings:
        jobs.setdefault(one.job_id, []).append(one)
    return {job: jobs[job] for job in sorted(jobs)}


def counted(closings: Sequence[Closing]) -> tuple[list[Closing], list[str]]:
    """The closing of each job that holds, and the jobs whose closings differ. The order of `closings` is no matter."""
    held: list[Closing] = []
    disputed: list[str] = []
    for job, of_job in by_job(closings).items():
        stands = standing(of_job)
        if differ(stands):
            disputed.append(job)
        else:
            held.append(stands[0])
    return held, disputed


def _what_it_says(closing: Closing) -> bytes:
    wrong = sorted({(one.story, one.subject) for one in closing.was_wrong})
    return msgspec.json.encode((wrong, sorted(set(closing.did)), closing.device, closing.data))
