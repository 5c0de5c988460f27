"""Runs chunks of jobs, two at a time, and gathers their rows. The same seed gives the same rows."""

import os
from collections.abc import Callable
from concurrent.futures import ProcessPoolExecutor, as_completed
from typing import Any

from tests.support.bench import tables as t
from tests.support.bench.contact_rows import contact_rows
from tests.support.bench.ideal import Ideal
from tests.support.bench.jobs import Job, Weather, make_jobs

CHUNK = 50
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


def run(ngspice: str, seed: int, jobs: int, *, workers: int, say: Callable[[str], None]) -> Rows:
    """All rows, in the order of the jobs."""
    todo = chunks(jobs)
    done: dict[Chunk, Rows] = {}
    if workers == 1:
        for chunk in todo:
            done[chunk] = chunk_rows(ngspice, seed, chunk)
            say(f"{len(done)} of {len(todo)} parts")
    else:
        with ProcessPoolExecutor(workers, initializer=os.nice, initargs=(10,)) as pool:
            waiting = {pool.submit(chunk_rows, ngspice, seed, chunk): chunk for chunk in todo}
            for one in as_completed(waiting):
                done[waiting[one]] = one.result()
                say(f"{len(done)} of {len(todo)} parts")
    rows: Rows = {}
    for chunk in todo:
        for name, part in done[chunk].items():
            rows.setdefault(name, []).extend(part)
    return rows


def chunk_rows(ngspice: str, seed: int, chunk: Chunk) -> Rows:
    weather, start, end = chunk
    rows: Rows = {"contacts": []}
    for job in make_jobs(ngspice, seed, weather, range(start, end)):
        for references, told in _variants(job):
            ideal = Ideal(job, references, sheet=told)
            rows["contacts"] += contact_rows(job, ideal, references, told=told)
    return rows


def _variants(job: Job) -> list[tuple[int, bool]]:
    """Eight boards and sheets; for some jobs also other counts, and nothing told of any meter."""
    told = [(t.REFERENCE_BOARDS, True)]
    if job.has_variants:
        told += [*((count, True) for count in t.VARIANT_BOARDS), (t.REFERENCE_BOARDS, False)]
    return told
