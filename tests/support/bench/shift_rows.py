"""The common shift: where each judge puts a healthy reading of this session, against where it would have been."""

import statistics
from typing import Any

from tests.support.bench import tables as t
from tests.support.bench.engine_says import ContactSaid
from tests.support.bench.ideal import Judged
from tests.support.bench.jobs import Job, OnBench

LEAST_CONTACTS = 4


def shift_row(job: Job, one: OnBench, references: int, said: ContactSaid, judged: Judged) -> dict[str, Any] | None:
    """Mean error (mV), tilt with the reading (mV per 100 mV) and scatter within the job, engine and near-ideal."""
    true = {
        contact: mv
        for contact, line in enumerate(job.plan.lines)
        if line.conducts and (mv := healthy_shown(one, contact)) is not None
    }
    touched = one.session.current_ma * t.PROBE_OHM
    engine = {i: centre for i in true if (centre := said.centre_mv[i]) is not None}
    ideal = {i: judged.mean[i] + touched for i in true if i in judged.mean}
    if min(len(engine), len(ideal)) < LEAST_CONTACTS:
        return None
    row: dict[str, Any] = {"weather": job.weather, "job": job.index, "references": references}
    for name, told in (("engine", engine), ("ideal", ideal)):
        error = {i: told[i] - true[i] for i in told}
        middle = statistics.fmean(true[i] for i in told)
        mean = statistics.fmean(error.values())
        square = sum((true[i] - middle) ** 2 for i in told)
        tilt = sum((true[i] - middle) * error[i] for i in told) / square if square > 0 else 0.0
        scatter = statistics.pstdev(error[i] - tilt * (true[i] - middle) for i in told)
        row[name] = {"mean": round(mean, 4), "tilt": round(100 * tilt, 4), "scatter": round(scatter, 4)}
    return row


def healthy_shown(one: OnBench, contact: int) -> float | None:
    """What a good touch of this contact would show, unspoilt, without the display's noise; None for OL."""
    mv, session = one.healthy_mv[contact], one.session
    if mv is None or mv >= session.open_circuit_mv:
        return None
    return session.gain * (mv + session.current_ma * t.PROBE_OHM) + session.offset_mv
