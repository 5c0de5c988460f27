"""Closed jobs move the odds: which count, what they change in an opinion, and that the opinion says so."""

from typing import Any

import msgspec
import numpy as np
import pytest
from msgspec.structs import replace

from demo.shop.t10_jobs import all_sheets
from server.engine.closing_facts import closing_facts
from server.engine.door import form_opinion
from server.engine.exposures import EXPOSURES, exposed
from server.engine.learning import KINDS, learnt, learnt_shop, story_weights, table_shares
from server.engine.learning_doors import learnt_json
from server.engine.over_range import touch_fails
from shared_models.closing import Closing, MetVoltage, ShopFigures, WasWrong
from shared_models.learning import ClosingQuestion, LearningQuestion
from shared_models.sheet import ExposureOdds, PastMends, Shop

SHEETS = all_sheets()
DAY_MS = 86_400_000


def closed(number: int, *stories: Any, how: Any = "seen", **more: Any) -> Closing:
    return Closing(
        id=more.pop("id", f"c-{number}"), job_id=more.pop("job_id", f"j-{number}"),
        was_wrong=tuple(WasWrong(story=one, how_known=how) for one in stories), closed_at_ms=number * DAY_MS, **more,
    )


def asked(*closings: Closing, **figures: Any) -> LearningQuestion:
    return LearningQuestion(closings=closings, figures=ShopFigures(id="shop", **figures) if figures else None)


def share_of(question: LearningQuestion, story: str) -> float:
    return next(one.learnt for one in learnt(question).stories if one.story == story)


def why_not(question: LearningQuestion) -> dict[str, tuple[str, ...]]:
    return {one.code: one.job_ids for one in learnt(question).not_counted}


# ---- which closings count -------------------------------------------------------------------------


def test_without_closings_nothing_is_learnt_and_the_sheet_stays_as_it_was() -> None:
    assert learnt_shop(LearningQuestion(closings=())) is None
    assert learnt_json(b'{"closings": []}') == msgspec.json.encode(learnt(LearningQuestion(closings=())))


def test_a_job_closed_twice_alike_counts_once() -> None:
    one = closed(1, "wet")
    twice = (one, closed(2, "wet", job_id="j-1"))
    assert share_of(asked(*twice), "wet") == share_of(asked(one), "wet")
    assert learnt(asked(*twice)).jobs == 1


def test_two_closings_that_differ_teach_nothing_until_a_third_says_which_holds() -> None:
    ours = closed(1, "wet", touches=40, pitch_mm=0.5)
    theirs = closed(2, "bridge", job_id="j-1", touches=40, pitch_mm=0.5)
    disputed = asked(ours, theirs)
    assert learnt_shop(disputed) is None
    assert why_not(disputed) == {"disputed": ("j-1",)}
    third = closed(3, "bridge", job_id="j-1", supersedes=("c-1", "c-2"), touches=40, pitch_mm=0.5)
    settled = asked(third, ours, theirs)
    assert learnt(settled).jobs == 1
    assert share_of(settled, "bridge") > table_shares()["bridge"]
    assert share_of(settled, "wet") < table_shares()["wet"]
    assert learnt(settled).touches[0].touches == 40


def test_closings_that_name_each_other_are_disputed_and_not_lost() -> None:
    ring = asked(closed(1, "wet", supersedes=("c-2",)), closed(2, "bridge", job_id="j-1", supersedes=("c-1",)))
    assert why_not(ring) == {"disputed": ("j-1",)}


def test_device_or_data_told_differently_is_a_dispute_too() -> None:
    one = closed(1, "wet", device="works")
    assert why_not(asked(one, closed(2, "wet", job_id="j-1", device="does_not_work"))) == {"disputed": ("j-1",)}


def test_what_was_never_found_out_or_only_believed_does_not_move_what_happens_but_its_touches_count() -> None:
    question = asked(
        closed(1, touches=30, failed_touches=2, pitch_mm=0.5),
        closed(2, "wet", how="believed", touches=20, pitch_mm=0.5),
        closed(3, "counted_differently"),
    )
    told = learnt(question)
    assert (told.jobs, told.stories) == (0, ())
    assert why_not(question) == {"never_found_out": ("j-1",), "only_believed": ("j-2",), "not_in_table": ("j-3",)}
    assert [(one.pitch, one.touches, one.failed) for one in told.touches] == [("wide", 50, 2)]
    assert told.shop is not None
    assert told.shop.weights == ()


def test_a_job_that_was_two_things_counts_half_for_each() -> None:
    told = learnt(asked(closed(1, "plug_off_by", "series_open")))
    assert {one.story: one.jobs for one in told.stories if one.jobs} == {"plug_off_by": 0.5, "series_open": 0.5}


def test_a_reset_forgets_what_was_closed_before_it_and_the_switch_leaves_the_table_alone() -> None:
    jobs = (closed(1, "wet"), closed(5, "bridge"))
    reset = asked(*jobs, learnt_from_ms=3 * DAY_MS)
    assert learnt(reset).jobs == 1
    assert why_not(reset) == {"before_reset": ("j-1",)}
    off = learnt(asked(*jobs, learn=False))
    assert off.shop is None
    assert not off.learns
    assert off.stories == learnt(asked(*jobs)).stories, "what it would change is shown all the same"


def test_the_order_of_closings_is_no_matter() -> None:
    jobs = [closed(n, story, what_happened=("liquid",) if n % 3 else ()) for n, story in
            enumerate(["wet", "bridge", "elsewhere", "wet", "leak", "plug_off_by", "nothing_wrong"])]
    one = msgspec.json.encode(learnt(asked(*jobs)))
    assert msgspec.json.encode(learnt(asked(*reversed(jobs)))) == one


# ---- what they change -----------------------------------------------------------------------------------


def odds_of(shop: Shop | None, kind: str) -> float:
    opinion = form_opinion(replace(SHEETS["t10_turned_under_the_scope"], shop=shop))
    return next((one.odds for one in opinion.stories if one.kind == kind), 0.0)


def test_an_opinion_moves_towards_what_the_shop_has_found_and_says_so() -> None:
    question = asked(*(closed(n, "part_knocked_off") for n in range(1, 60)))
    shop = learnt_shop(question)
    assert shop is not None
    table = odds_of(None, "contact_torn")
    assert odds_of(shop, "contact_torn") < table
    more = learnt_shop(asked(*(closed(n, "contact_torn") for n in range(1, 23))))
    assert odds_of(more, "contact_torn") > table
    opinion = form_opinion(replace(SHEETS["t10_turned_under_the_scope"], shop=more))
    assert [(one.code, one.sentence) for one in opinion.learnt] == [
        ("learnt_jobs", "22 closed jobs of this shop move the odds."),
    ]


def test_an_opinion_without_closed_jobs_says_nothing_of_them() -> None:
    assert form_opinion(SHEETS["t10_new_socket_stripes"]).learnt == ()


def test_kinds_told_by_several_families_move_as_a_whole() -> None:
    scene_shares = table_shares()
    assert scene_shares["chip_damaged"] > 0
    shop = learnt_shop(asked(*(closed(n, "chip_damaged") for n in range(1, 40))))
    slipped = SHEETS["t10_slipped_in_crooked"]

    def chips(sheet_shop: Shop | None) -> float:
        sheet = replace(slipped, readings=(), observations=(), shop=sheet_shop)
        return max((one.odds for one in form_opinion(sheet).stories if one.kind == "chip_damaged"), default=0.0)

    assert chips(shop) > 2 * chips(None)


def test_what_lines_were_found_to_be_takes_the_tables_place() -> None:
    met = tuple(MetVoltage(exposure="hit_hard", found="expected") for _ in range(40))
    shop = learnt_shop(asked(closed(1, "plug_off_by", met_voltage=met)))
    assert shop is not None
    own = exposed("hit_hard", shop)
    assert own["expected"] > 0.6 > EXPOSURES["hit_hard"]["expected"]
    assert sum(own.values()) == pytest.approx(1.0, abs=1e-12)
    assert exposed("tool_across", shop) == EXPOSURES["tool_across"]
    # a plug that slipped and hurt nothing is then no longer so strange
    slipped = replace(SHEETS["t10_new_socket_stripes"])
    assert form_opinion(replace(slipped, shop=shop)).sheet_digest != form_opinion(slipped).sheet_digest


def test_what_was_mended_goes_into_the_chances_and_only_where_a_job_can_tell() -> None:
    def job(number: int, story: Any, **more: Any) -> Closing:
        return closed(number, story, **{"did": ("replace_part",), "device": "works", **more})

    question = asked(
        *(job(n, "series_open") for n in range(1, 9)), job(9, "series_open", device="does_not_work"),
        job(10, "series_open", device="works_in_part"), job(11, "series_open", did=("stop",)),
        job(12, "chip_damaged"), job(13, "series_open", how="believed"), job(14, "nothing_wrong", did=()),
        replace(job(15, "series_open"), was_wrong=(*job(0, "series_open").was_wrong, *job(0, "wet").was_wrong)),
    )
    told = learnt(question)
    assert [(one.fault, one.worked, one.failed) for one in told.mends] == [("no_fault", 1, 0), ("small_part", 8, 1)]
    # 19 of 20 in the table, worth twenty jobs (common practice, no source)
    assert told.mends[1].in_table == pytest.approx(0.95)
    assert told.mends[1].learnt == pytest.approx((19 + 8) / 29, abs=1e-6)
    assert told.shop is not None
    assert told.shop.mends == (
        PastMends(fault="no_fault", worked_times=1), PastMends(fault="small_part", worked_times=8, failed_times=1),
    )
    opinion = form_opinion(replace(SHEETS["t10_new_socket_stripes"], shop=told.shop))
    assert opinion.chances is not None
    # all jobs that move the odds stand behind the chances, those that were mended or not among them
    assert opinion.chances.rests_on.past_jobs == told.jobs == 14


def test_a_state_the_shops_numbers_do_not_know_stays_as_in_the_table() -> None:
    partly = Shop(exposures=(ExposureOdds(exposure="hit_hard", lines=4, odds={"short": 0.5}),))
    found = exposed("hit_hard", partly)
    assert set(found) == set(EXPOSURES["hit_hard"])
    assert sum(found.values()) == pytest.approx(1.0, abs=1e-12)


def test_the_share_of_failed_touches_goes_by_the_pitch() -> None:
    shop = learnt_shop(asked(closed(1, "wet", touches=800, failed_touches=80, pitch_mm=0.35)))
    assert touch_fails(0.35, shop) == pytest.approx(0.07, abs=1e-6)
    assert touch_fails(0.5, shop) == touch_fails(0.5, None) == 0.02


def test_a_table_that_is_off_is_put_right_and_one_that_is_right_loses_little() -> None:
    # every kind off by a normal factor of 0.7, as in the trials that gave the table its worth of twenty jobs; in nats
    # of what is said before any reading (readings then settle most of it)
    shares = table_shares()
    table = np.array([shares[kind] for kind in KINDS])
    rng = np.random.default_rng(5)

    def lost(deviation: float, jobs: int) -> float:
        told = []
        for _ in range(40):
            world = table * np.exp(rng.normal(0, deviation, len(KINDS)))
            world /= world.sum()
            drawn = rng.choice(len(KINDS), size=jobs, p=world)
            weights = story_weights([(tuple(map(float, table)), {KINDS[kind]: 1.0}) for kind in drawn])
            said = table * np.array([weights[kind] for kind in KINDS])
            told.append(float(np.sum(world * np.log(world / said))))
        return float(np.mean(told))

    assert lost(0.7, 100) < 0.5 * lost(0.7, 0)
    assert lost(0.7, 100) < lost(0.7, 50) < 0.7 * lost(0.7, 0)
    assert lost(0.0, 100) < 0.1


# ---- what a closing takes from the sheet --------------------------------------------------------------------


def test_a_closing_takes_what_was_said_what_was_hit_and_how_it_was_read() -> None:
    sheet = SHEETS["t10_slipped_in_crooked_then_all_answers"]
    wrong = (
        WasWrong(story="plug_off_by", subject="-1", how_known="seen"),
        WasWrong(story="series_open", subject="F3", how_known="measured"),
    )
    facts = closing_facts(ClosingQuestion(sheet=sheet, was_wrong=wrong))
    opinion = form_opinion(sheet)
    assert [(one.story, one.subject, one.odds) for one in facts.said_before if not one.beside] == [
        (one.kind, one.subject, one.odds) for one in opinion.stories
    ]
    # the fuse was never said to be all of it, but it was said
    led = opinion.stories[0]
    [beside] = [one for one in facts.said_before if one.beside]
    assert f"{beside.story} {beside.subject}" == led.second == "series_open F3"
    assert beside.odds == pytest.approx(led.odds * led.second_odds, abs=0.001)
    # 28 met LED+ and is low; 3V3D met ground and survived (the invented job's truth)
    assert {(one.exposure, one.found) for one in facts.met_voltage} == {
        ("hit_hard", "low"), ("slip_rail_grounded", "expected"),
    }
    # each contact once, two of them also with the other lead, six seconds apart
    assert (facts.touches, facts.failed_touches) == (36, 0)
    assert opinion.chances is not None and opinion.chances.data is not None
    assert facts.device_chance_before == opinion.chances.device.odds
    assert facts.data_chance_before == opinion.chances.data.odds
    assert facts.socket_kind == sheet.board.sockets[0].kind


def test_a_touch_that_two_later_ones_outvote_is_a_failed_one() -> None:
    sheet = SHEETS["t10_new_socket_stripes"]
    first = sheet.readings[4]
    again = [
        replace(first, id=f"again-{n}", as_typed=text, taken_at_ms=sheet.readings[-1].taken_at_ms + n * 600_000)
        for n, text in enumerate(("OL", first.as_typed), start=1)
    ]
    before = closing_facts(ClosingQuestion(sheet=sheet))
    after = closing_facts(ClosingQuestion(sheet=replace(sheet, readings=(*sheet.readings, *again))))
    assert (before.failed_touches, after.failed_touches) == (0, 1)
    assert after.touches == before.touches + 2
    assert before.reading_s is not None
    # two pauses of ten minutes are pauses, not reading
    assert after.reading_s == before.reading_s + 2 * 60


def test_lines_are_told_only_where_it_is_known_which_they_are() -> None:
    sheet = SHEETS["t10_slipped_in_crooked_then_all_answers"]
    for wrong in (WasWrong(story="plug_off_by", how_known="seen"), WasWrong(story="plug_off_by", subject="-1")):
        assert closing_facts(ClosingQuestion(sheet=sheet, was_wrong=(wrong,))).met_voltage == ()


def test_a_sheet_without_a_touch_has_said_nothing_before() -> None:
    empty = replace(SHEETS["t10_new_socket_stripes"], readings=(), observations=())
    facts = closing_facts(ClosingQuestion(sheet=empty))
    assert (facts.said_before, facts.touches, facts.reading_s, facts.sweep_s) == ((), 0, None, None)
    assert (facts.device_chance_before, facts.data_chance_before) == (None, None)
