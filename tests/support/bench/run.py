"""Runs chunks of jobs, two at a time, and gathers their rows. The same seed gives the same rows."""

import os
from collections.abc import Callable
from concurrent.futures import ProcessPoolExecutor, as_completed
from functools import partial
from typing import Any

from tests.support.bench import tables as t
from tests.support.bench.contact_rows import contact_rows
from tests.support.bench.further import read_further
from tests.support.bench.further_rows import further_rows
from tests.support.bench.ideal import Ideal
from tests.support.bench.jobs import Job, Weather, make_jobs
from tests.support.bench.meter_rows import meter_rows
from tests.support.bench.story_rows import story_row
from tests.support.bench.walks import walk_row
from tests.support.bench.words_rows import words_rows

CHUNK = 25
NICE = 10
SHORT = 5
PLAIN: tuple[int, bool] = (t.REFERENCE_BOARDS, True)
WALK_EVERY, WALK_FROM = 11, 3  # of the plain jobs, one in so many is walked touch by touch
HARD_SHARE = 0.1
HARD: tuple[Weather, ...] = ("odd", "heavy", "crowd")
Rows = dict[str, list[dict[str, Any]]]
Chunk = tuple[Weather, int, int]


def chunks(jobs: int) -> list[Chunk]:
    """Plain jobs, then a tenth as many again of each hard weather."""
    counts: dict[Weather, int] = {"plain": jobs, **dict.fromkeys(HARD, round(HARD_SHARE * jobs))}
    told: list[Chunk] = []
    for weather, count in counts.items():
        for start in range(0, count, CHUNK):
            told.append((weather, start, min(start + CHUNK, count)))
    return told


def run(
    ngspice: str, seed: int, jobs: int, *, workers: int, say: Callable[[str], None], walks: bool = True,
    further: int = 0,
) -> Rows:  # fmt: skip
    """All rows, in the order of the jobs; of the first plain ones so many are looked at further. Without `walks` every
    contact is read, and nothing touch by touch. Meters' own pages are judged beside them."""
    todo = chunks(jobs)
    rows_of = partial(chunk_rows, ngspice, seed, walks=walks, further=further)
    done: dict[Chunk, Rows] = {}
    if workers == 1:
        for chunk in todo:
            done[chunk] = rows_of(chunk)
            say(f"{len(done)} of {len(todo)} parts")
    else:
        with ProcessPoolExecutor(workers, initializer=os.nice, initargs=(NICE,)) as pool:
            waiting = {pool.submit(rows_of, chunk): chunk for chunk in todo}
            for one in as_completed(waiting):
                if one.exception() is not None:
                    pool.shutdown(cancel_futures=True)
                    raise RuntimeError(f"jobs {waiting[one]}") from one.exception()
                done[waiting[one]] = one.result()
                say(f"{len(done)} of {len(todo)} parts")
    rows: Rows = {}
    for chunk in todo:
        for name, part in done[chunk].items():
            rows.setdefault(name, []).extend(part)
    rows["meters"] = meter_rows(seed)
    return rows


def chunk_rows(
    ngspice: str, seed: int, chunk: Chunk, *, short: bool = False, walks: bool = True, further: int = 0
) -> Rows:
    """The rows of some jobs; `short`: other counts of boards and walks for the first jobs only. Plain jobs before the
    one numbered `further` are looked at twice, and what is said of them in ohms is judged."""
    weather, start, end = chunk
    rows: Rows = {"contacts": [], "shifts": [], "stories": [], "walks": [], "further": [], "words": []}
    jobs = make_jobs(ngspice, seed, weather, range(start, end))
    for job in jobs:
        whole = not short or job.index < SHORT
        for references, told in _variants(job) if whole else [PLAIN]:
            ideal = Ideal(job, references, sheet=told)
            contacts, shift = contact_rows(job, ideal, references, told=told)
            rows["contacts"] += contacts
            rows["shifts"] += [shift] if shift is not None and told else []
            if weather != "crowd":
                rows["stories"].append(story_row(job, ideal, references, told=told))
            ideal.kept.keep()
        if walks and whole and weather == "plain" and job.index % WALK_EVERY == WALK_FROM:
            ideal = Ideal(job, t.REFERENCE_BOARDS)
            rows["walks"].append(walk_row(job, ideal))
            ideal.kept.keep()
    twice = [job for job in jobs if weather == "plain" and job.index < further]
    for one in read_further(ngspice, twice):
        rows["further"] += further_rows(one)
    rows["words"] += words_rows(ngspice, twice)
    return rows


def _variants(job: Job) -> list[tuple[int, bool]]:
    """Eight boards and sheets; for some jobs also other counts, and nothing told of any meter."""
    told = [PLAIN]
    if job.has_variants:
        told += [*((count, True) for count in t.VARIANT_BOARDS), (t.REFERENCE_BOARDS, False)]
    return told
