"""What went wrong on single jobs, contact by contact: `python3 tests load bench --show N`.

Of the board with single faults every healthy contact that the engine flags and every fault it misses, after one touch
(after two where the first showed OL; `again` are its odds after the second); of the story's board every true class
that does not lead. Beside each stands what the near-ideal judge says of it.
"""

from collections import Counter
from collections.abc import Iterable, Iterator

from shared_models.opinion import ContactOpinion, Opinion
from tests.support.bench import engine_says, ideal_stories
from tests.support.bench import tables as t
from tests.support.bench.contact_rows import FLAGGED, engine_scores
from tests.support.bench.ideal import Ideal, contact_priors, odd_odds
from tests.support.bench.jobs import Job, OnBench
from tests.support.bench.sheets import sheet
from tests.support.bench.shift_rows import healthy_shown

STORIES_SHOWN = 3
HEAD = (
    f"  {'':8}{'contact':>8} {'role':16}{'chip':9}{'read':>6}{'healthy':>8}{'band':>7}{'scale':>7}{'off':>8}"
    f"{'in sd':>7}  {'odds':22}{'again':>6}{'ideal':>7}  fault"
)


def shown(jobs: Iterable[Job], references: int = t.REFERENCE_BOARDS) -> Iterator[str]:
    """Lines of text, job by job; the last ones count what was flagged and missed."""
    counts: Counter[str] = Counter()
    for job in jobs:
        ideal = Ideal(job, references)
        told = [*_contacts(job, ideal, references, counts), *_story(job, ideal, references, counts)]
        if told:
            yield f"JOB {job.weather} {job.index} {job.plan.name}"
            yield from told
            yield ""
    yield "COUNTED"
    for what, count in sorted(counts.items()):
        yield f"  {count:5}  {what}"


def _contacts(job: Job, ideal: Ideal, references: int, counts: Counter[str]) -> list[str]:
    """The board with single faults: what the engine flags or misses, after one touch."""
    one = job.contacts
    odd, again, opinion = engine_scores(job, one, references)
    prior = contact_priors(job)
    judged = ideal.judge(one, prior)
    by_number = {each.contact: each for each in opinion.contacts}
    lines = []
    for contact, line in enumerate(job.plan.lines):
        if not line.conducts:
            continue
        fault = one.condition.faults.get(contact)
        number = one.first[contact] is not None
        flagged = (odd if number else again)[contact] > FLAGGED
        if flagged == (fault is not None):
            continue
        logs = [judged.log_states[contact]] if number else [judged.log_states[contact], judged.log_again[contact]]
        best = odd_odds(prior[contact], *logs)
        what = "FLAGGED" if flagged else "MISSED"
        counts[_counted(what, line.role, fault.what if fault else "", best)] += 1
        spoilt = "healthy" if fault is None else f"{fault.what} {fault.size:.0f} {_unit(fault.what)}".strip()
        told = _contact_line(job, one, contact, by_number[line.number])
        lines.append(f"  {what:8}{told}{again[contact]:6.2f}{best:7.2f}  {spoilt}")
    return [*_session(one, opinion), HEAD, *lines] if lines else []


def _counted(what: str, role: str, fault: str, ideal: float) -> str:
    also = "the ideal too" if (ideal > FLAGGED) == (what == "FLAGGED") else "not by the ideal"
    return f"{what} {fault or 'healthy'} {role}, {also}"


def _unit(what: str) -> str:
    return {"raised": "mV", "open": ""}.get(what, "ohm")


def _contact_line(job: Job, one: OnBench, contact: int, said: ContactOpinion) -> str:
    line, band = job.plan.lines[contact], said.band
    healthy = healthy_shown(one, contact)
    off, in_sd = said.off_by_mv, said.off_by_sd
    scale = off / in_sd if off and in_sd else None
    odds = sorted(((getattr(said.odds, word), word) for word in ("short", "low", "high", "open")), reverse=True)
    words = f"{odds[0][1]} {odds[0][0]:.3f}, {odds[1][1]} {odds[1][0]:.2f}"
    return (
        f"{line.number:>8} {line.role:16}{line.chip:9}{_number(one.first[contact], 6, 0)}{_number(healthy, 8)}"
        f"{_number(band.centre_mv, 7)}{_number(scale, 7)}{_number(off, 8)}{_number(in_sd, 7)}  {words:22}"
    )


def _number(value: float | None, width: int, digits: int = 1) -> str:
    return f"{'-':>{width}}" if value is None else f"{value:{width}.{digits}f}"


def _session(one: OnBench, opinion: Opinion) -> list[str]:
    """The session as it is, as it was told, as the engine fitted it; and what the engine says happened."""
    session, fitted = one.session, opinion.session
    found = (
        f"{fitted.current_ma:.3f} mA +- {fitted.current_sd_pct or 0:.1f} %, "
        f"{fitted.junction_c or 0:.1f} +- {fitted.junction_sd_k or 0:.1f} C"
        if fitted.current_ma is not None
        else "nothing"
    )
    leads = "; ".join(f"{each.odds:.3f} {each.kind} {each.subject}" for each in opinion.stories[:STORIES_SHOWN])
    return [
        f"  is {session.current_ma:.3f} mA, {session.celsius:.1f} C, gain {session.gain:.4f}, "
        f"zero {session.offset_mv:+.1f} mV; told {session.told_current_ma:.3f} mA, {session.told_air_c:.1f} C; "
        f"fitted {found}",
        f"  leads: {leads}",
    ]


def _story(job: Job, ideal: Ideal, references: int, counts: Counter[str]) -> list[str]:
    """The story's board, where the class that is true does not lead."""
    one = job.story
    assert one.story is not None
    odds = engine_says.class_odds(sheet(job, one, references=references), job.plan)
    ranked = sorted(odds.items(), key=lambda each: (-each[1], each[0]))
    true = one.story.merged
    if ranked[0][0] == true:
        return []
    best = ideal_stories.class_odds(ideal, one)[0]
    leads = max(best, key=lambda name: (best[name], name))
    counts[f"STORY {one.story.kind} not led, {'nor by the ideal' if leads != true else 'but by the ideal'}"] += 1
    damage = ", ".join(
        f"{job.plan.lines[contact].number} {fault.what} {fault.size:.0f} {_unit(fault.what)}".strip()
        for contact, fault in sorted(one.condition.faults.items())
    )
    top = "; ".join(f"{weight:.3f} {name}" for name, weight in ranked[:STORIES_SHOWN])
    return [
        f"  STORY {one.story.kind}, class '{true}' (spoilt: {damage or 'no contact'}), "
        f"{one.session.current_ma:.2f} mA: engine gives it {odds.get(true, 0.0):.4f}, the ideal {best[true]:.3f}",
        f"        engine leads: {top}; ideal leads: {best[leads]:.3f} {leads}",
    ]
