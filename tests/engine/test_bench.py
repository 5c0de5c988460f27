"""The short form of `python3 tests load bench`: 60 jobs, and only what cannot flake.

What opinions are worth is in the long form's tables; here: that the world is the circuit simulator's, the same twice,
that gross faults are found and quiet contacts are not cried over, and that the near-ideal judge is what it says.
"""

import math
import random
from dataclasses import replace
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from tests.support.bench import kept
from tests.support.bench import tables as t
from tests.support.bench.circuits import circuit
from tests.support.bench.contact_scores import OWN_RATES, flagged_share, table
from tests.support.bench.engine_says import class_odds
from tests.support.bench.faults import Condition, Fault
from tests.support.bench.further import read_further
from tests.support.bench.further_rows import WAYS, further_rows
from tests.support.bench.ideal import Ideal, contact_priors
from tests.support.bench.ideal_pairs import together
from tests.support.bench.ideal_physics import leaky_mv, reading_mv
from tests.support.bench.ideal_stories import decision_of, leading_decision
from tests.support.bench.jobs import Job, make_jobs
from tests.support.bench.joined import joined_ohm
from tests.support.bench.meter_rows import meter_rows
from tests.support.bench.run import Rows, chunk_rows
from tests.support.bench.sheets import sheet
from tests.support.bench.show import shown
from tests.support.bench.show_further import shown_further
from tests.support.bench.sockets import plans
from tests.support.bench.story_scores import summary
from tests.support.bench.story_world import stories
from tests.support.bench.truth import draw_board, draw_kind, draw_session
from tests.support.bench.words_rows import resistances, with_resistance
from tests.support.ngspice import node_millivolts

SEED, JOBS, TWICE = 11, 60, 3


@pytest.fixture(scope="module")
def rows(ngspice_path: str) -> Rows:
    return chunk_rows(ngspice_path, SEED, ("plain", 0, JOBS), short=True, further=TWICE)


@pytest.fixture(scope="module")
def jobs(ngspice_path: str) -> list[Job]:
    return make_jobs(ngspice_path, SEED, "plain", range(JOBS))


def _eight(rows: Rows) -> list[dict[str, Any]]:
    return [row for row in rows["contacts"] if row["references"] == t.REFERENCE_BOARDS and row["sheet"]]


def test_the_same_seed_gives_the_same_rows_whatever_was_kept(
    ngspice_path: str, rows: Rows, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(kept, "FOLDER", tmp_path)
    again = chunk_rows(ngspice_path, SEED, ("plain", 0, 5), short=True, further=TWICE)
    assert list(tmp_path.glob("*/*"))
    few = len(again["contacts"])
    for name, part in again.items():
        assert part
        assert part == rows[name][: len(part)]
    other = chunk_rows(ngspice_path, SEED + 1, ("plain", 0, 5), short=True)
    assert other["contacts"][:few] != again["contacts"]


def test_shorts_are_found_and_healthy_contacts_are_left_alone(rows: Rows) -> None:
    eight = [row for row in _eight(rows) if row["number"]]
    shorts = [row for row in eight if row["what"] == "short"]
    healthy = [row for row in eight if row["what"] == "healthy"]
    assert len(shorts) > 10
    assert len(healthy) > 700
    for judge, found in (("engine", 0.6), (OWN_RATES, 0.6), ("ideal", 0.95)):
        assert flagged_share(shorts, judge, 0.5)[0] > found
        assert flagged_share(healthy, judge, 0.5)[0] < 0.02


def test_opens_are_found_by_the_second_touch(rows: Rows) -> None:
    opens = [row for row in _eight(rows) if row["what"] == "open"]
    assert len(opens) > 10
    for judge in ("engine", "ideal"):
        assert flagged_share(opens, judge, 0.5, "again")[0] > 0.8


def test_fifteen_millivolts_raw_cry_at_most_healthy_contacts_of_a_mixed_fleet(rows: Rows) -> None:
    lines = {line["judge"]: line for line in table(_eight(rows), ("15 mV raw", "ideal"))}
    assert lines["15 mV raw"]["fa_one_touch"] > 0.5
    assert lines["ideal"]["fa_one_touch"] < 0.02


def test_stories_are_told_better_than_by_their_shares_alone(rows: Rows) -> None:
    eight = [row for row in rows["stories"] if row["references"] == t.REFERENCE_BOARDS and row["sheet"]]
    assert len(eight) == JOBS
    prior, ideal, tables, engine = (
        summary(eight, judge)["log"] for judge in ("prior", "ideal", "ideal_tables", "engine")
    )
    assert ideal < engine < prior
    assert ideal < tables < prior
    assert summary(eight, "ideal")["covered"] > 0.75


def test_every_story_of_the_engine_has_a_class_and_all_odds_add_up_to_one(jobs: list[Job]) -> None:
    for job in jobs[:10]:
        odds = class_odds(sheet(job, job.story), job.plan)
        assert math.fsum(odds.values()) == pytest.approx(1.0, abs=1e-9)
        shares = [one.share for one in stories(job.plan.name)]
        assert math.fsum(shares) == pytest.approx(1.0, abs=1e-9)


def test_every_walk_ends_with_all_contacts_read(rows: Rows) -> None:
    assert rows["walks"]
    for row in rows["walks"]:
        assert row["sweep"]["end_agrees"]
        assert row["sweep"]["all"] == row["random"]["all"] == row["contacts"]
        assert row["guided"]["all"] >= row["contacts"]
        assert 1 <= row["guided"]["touches"] <= row["guided"]["all"]
        for order in ("guided", "sweep"):
            assert 1 <= row[f"{order}, near-ideal"]["touches"] <= row[order]["all"]


def test_what_is_read_further_is_the_same_board_with_the_same_faults(ngspice_path: str, jobs: list[Job]) -> None:
    for one in read_further(ngspice_path, jobs[:20]):
        at_1 = one.first.condition.faults
        for ma, second in one.seconds.items():
            assert second.board == one.first.board
            for contact, fault in second.condition.faults.items():
                share = ma if fault.what == "raised" else 1.0
                assert fault.size == pytest.approx(at_1[contact].size * share)
        for contact, line in enumerate(one.job.plan.lines):
            pair = (one.first.true_mv[contact], one.seconds[0.1].true_mv[contact])
            if line.conducts and None not in pair and contact not in one.first.condition.wrong(one.job.plan):
                # a junction falls by n Vt ln 10, n 1.5 +- 0.12 at -5 to 45 C, and by what lies in series, 0.9 mA less
                assert 50 < float(pair[0] or 0) - float(pair[1] or 0) < 240
            other = one.other_lead.true_mv[contact]
            assert (other is None) or line.role == "ground" or not line.is_rail or contact in at_1


def test_what_is_shown_of_single_jobs_is_what_the_rows_count(rows: Rows, jobs: list[Job]) -> None:
    told = list(shown(jobs[:10]))
    few = [row for row in _eight(rows) if row["job"] in range(10)]
    for what, healthy in (("FLAGGED", True), ("MISSED", False)):
        lines = [line for line in told if line.startswith(f"  {what} ")]
        odds = [row["first" if row["number"] else "again"]["engine"] for row in few
                if (row["what"] == "healthy") is healthy]  # fmt: skip
        assert len(lines) == sum((one > 0.5) is healthy for one in odds)
    wrong = [row for row in rows["stories"] if row["job"] in range(10) and row["references"] == t.REFERENCE_BOARDS
             and row["sheet"] and row["engine"]["rank"] > 0]  # fmt: skip
    assert sum(line.startswith("  STORY ") for line in told) == len(wrong) > 0


def test_what_is_shown_of_a_second_look_is_what_its_rows_count(ngspice_path: str, jobs: list[Job]) -> None:
    read = read_further(ngspice_path, jobs[:3])
    rows = [row for one in read for row in further_rows(one) if row["number"] and not row["rail"]]
    wrong = sum((row["first"][way] > 0.5) is (row["what"] == "healthy") for row in rows for way in WAYS[1:])
    told = [line.split()[0] for line in shown_further(read) if line.startswith("  ") and line.split()]
    assert sum(word in ("FLAGGED", "MISSED") for word in told) == wrong


def test_a_resistance_behind_a_part_reads_the_parts_ohms_more(ngspice_path: str, jobs: list[Job]) -> None:
    drawn = [(job, one) for job in jobs for one in resistances(job) if one.ohm < 30]
    assert {one.behind for _, one in drawn} == {True, False}
    read = node_millivolts(ngspice_path, [with_resistance(job, one) for job, one in drawn])
    for (job, one), mv in zip(drawn, read, strict=True):
        series = t.HEALTHY[job.plan.lines[one.contact].role].series_ohm if one.behind else 0.0
        # so little voltage that the junction takes nothing: Ohm's law alone
        assert mv == pytest.approx(job.contacts.session.current_ma * (one.ohm + series), rel=0.01)


def test_a_meters_page_is_tried_on_meters_whose_current_is_known() -> None:
    told = meter_rows(SEED, 200)
    assert told == meter_rows(SEED, 200)
    for what in ("sheet", "pair"):
        off = [row["current_off_sd"] for row in told if row["what"] == what and not row["refused"]]
        assert len(off) > 190
        # neither always right nor always wrong: 200 draws of a nine tenths interval are 180 +- 4
        assert 100 < sum(abs(one) < 1.645 for one in off) < 200


def test_contacts_not_read_yet_tell_the_near_ideal_judge_nothing(jobs: list[Job]) -> None:
    for job in jobs[:4]:
        ideal, one = Ideal(job, t.REFERENCE_BOARDS), job.story
        lines = range(len(job.plan.lines))
        shares: dict[str, float] = {}
        for story in stories(job.plan.name):
            shares[decision_of(story)] = shares.get(decision_of(story), 0.0) + story.share
        assert leading_decision(ideal, one, []) == max(shares, key=lambda name: shares[name])
        read = list(lines)[: len(lines) // 2]
        unread = [contact for contact in lines if contact not in read]
        changed = replace(one, first=[7 if contact in unread else mv for contact, mv in enumerate(one.first)])
        assert leading_decision(ideal, changed, read) == leading_decision(ideal, one, read)


def test_an_answer_is_kept_under_the_text_of_all_that_makes_it() -> None:
    names = {path.name for path in kept.sources(kept.JUDGE)}
    assert {"tables.py", "ideal_fit.py", "ideal_pairs.py", "jobs.py", "touching.py", "ngspice.py"} <= names
    assert "engine_says.py" not in names


def test_contact_to_contact_reads_whatever_joins_the_two() -> None:
    plan = next(one for one in plans() if [line.role for line in one.lines].count("main_rail") > 1)
    rail, same = [i for i, line in enumerate(plan.lines) if line.role == "main_rail"][:2]
    ground, other = [i for i, line in enumerate(plan.lines) if line.role == "ground"][:2]
    signal, beside = [i for i, line in enumerate(plan.lines) if line.role == "lane"][:2]
    bridged = Condition({signal: Fault("leak", 300.0), beside: Fault("raised", 40.0)}, [(rail, ground, 1.5)])
    assert joined_ohm(bridged, plan, same, other) == 1.5, "a rail and the grounds are one net each"
    assert joined_ohm(bridged, plan, rail, same) == joined_ohm(bridged, plan, ground, other) == 0
    assert joined_ohm(bridged, plan, signal, same) == 301.5, "by way of ground"
    assert joined_ohm(bridged, plan, beside, rail) is None, "what reads high is joined to nothing"


def test_two_joined_junctions_are_the_simulators(ngspice_path: str, jobs: list[Job]) -> None:
    circuits, told = [], []
    for job in jobs[:20]:
        ideal = Ideal(job, 0)
        a, b = ideal.layout.contacts[:2]
        session = replace(job.contacts.session, told_current_ma=job.contacts.session.current_ma,
                          told_air_c=job.contacts.session.celsius)  # fmt: skip
        for contact in (a, b):
            node = ideal.layout.node_of[contact]
            ideal.belief.mean[node] = job.contacts.board.junction_mv[contact]
            ideal.belief.mean[len(ideal.layout.nodes) + ideal.layout.chip_of[node]] = job.kind.ideality[
                job.plan.lines[contact].chip
            ]
        alone = [job.contacts.healthy_mv[contact] for contact in (a, b)]
        if None in alone or ideal.layout.node_of[a] == ideal.layout.node_of[b]:
            continue
        as_it_is = replace(job.contacts, session=session)
        told.append(together(ideal, as_it_is, a, b, float(alone[0] or 0), float(alone[1] or 0)))
        text = circuit(job.kind, job.contacts.board, a, job.contacts.session, Condition({}, [(a, b, 0.001)]))
        assert text is not None
        circuits.append(text)
    assert len(told) > 10
    assert np.allclose(told, node_millivolts(ngspice_path, circuits), atol=0.02)


def test_the_near_ideal_judges_closed_forms_are_the_simulators(ngspice_path: str) -> None:
    rng = random.Random(5)
    circuits, told = [], []
    for n in range(60):
        plan = plans()[n % len(plans())]
        kind = draw_kind(rng, plan)
        board, session = draw_board(rng, kind), draw_session(rng)
        contact = rng.choice([i for i, line in enumerate(plan.lines) if line.conducts])
        line, junction = plan.lines[contact], board.junction_mv[contact]
        assert junction is not None
        ohm = math.exp(rng.uniform(math.log(60), math.log(20_000)))
        here = (junction, kind.ideality[line.chip], t.BULK_OHM + t.HEALTHY[line.role].series_ohm,
                session.current_ma, session.celsius)  # fmt: skip
        for faults in ({}, {contact: Fault("leak", ohm)}):
            text = circuit(kind, board, contact, session, Condition(faults))
            assert text is not None
            circuits.append(text)
        told += [float(reading_mv(*here)), float(leaky_mv(*here, ohm))]
    assert np.allclose(told, node_millivolts(ngspice_path, circuits), atol=0.01)


def test_the_near_ideal_judge_knows_how_far_off_it_is(jobs: list[Job]) -> None:
    off = []
    for job in jobs[: JOBS // 2]:
        judged = Ideal(job, t.REFERENCE_BOARDS).judge(job.contacts, contact_priors(job))
        session = job.contacts.session
        for contact, mean in judged.mean.items():
            healthy = job.contacts.healthy_mv[contact]
            assert healthy is not None
            off.append((mean - session.gain * healthy - session.offset_mv) / math.sqrt(judged.var[contact]))
    assert 0.9 < math.sqrt(math.fsum(one * one for one in off) / len(off)) < 1.2


def test_contacts_of_one_rail_are_one_node(jobs: list[Job]) -> None:
    for job in jobs:
        healthy: dict[str, float | None] = {}
        for line, mv in zip(job.plan.lines, job.story.healthy_mv, strict=True):
            if line.is_rail:
                assert healthy.setdefault(line.net, mv) == mv


def test_a_junction_of_the_world_is_not_the_engines() -> None:
    from server.engine.constants.roles import ROLE_NUMBERS
    from server.engine.constants.sessions import BANDGAP_MV, IDEALITY

    assert IDEALITY != t.IDEALITY
    assert BANDGAP_MV != t.BANDGAP_MV
    for role, healthy in t.HEALTHY.items():
        told = ROLE_NUMBERS[role]
        assert (told.typical_mv, told.sd_mv) != (healthy.drop_mv, math.hypot(healthy.die_sd, healthy.local_sd))
