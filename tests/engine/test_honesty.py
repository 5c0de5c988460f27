"""How honest the odds were: what counts, what is said of too few, and that dishonest odds are found out."""

import random
from typing import Any

import pytest
from msgspec.structs import replace

from server.engine.closings import same_subject
from server.engine.honesty import honesty
from shared_models.closing import Closing, SaidBefore, WasWrong
from shared_models.learning import Honesty, LearningQuestion


def closed(number: int, odds: float, came_true: bool, **more: Any) -> Closing:
    """A job of which "wet" was said with these odds, "bridge" with the rest."""
    return Closing(
        id=f"c-{number}", job_id=more.pop("job_id", f"j-{number}"), closed_at_ms=number + 1,
        was_wrong=(WasWrong(story="wet" if came_true else "leak", how_known=more.pop("how", "seen")),),
        said_before=(SaidBefore(story="wet", odds=odds), SaidBefore(story="bridge", subject="1-2", odds=1 - odds)),
        **more,
    )


def told(*closings: Closing) -> Honesty:
    return honesty(LearningQuestion(closings=closings))


def drawn(jobs: int, seed: int, true_odds: Any) -> list[Closing]:
    rng = random.Random(seed)
    said = [0.5 + 0.5 * rng.random() for _ in range(jobs)]
    return [closed(n, odds, rng.random() < true_odds(odds)) for n, odds in enumerate(said)]


def test_no_closed_jobs_are_too_few() -> None:
    found = told()
    assert (found.jobs, found.too_few, found.bins) == (0, True, ())
    assert found.sentences == ("0 closed jobs: too few to tell how honest the odds were.",)


def test_few_jobs_get_their_table_and_no_judgement() -> None:
    found = told(closed(1, 0.9, True), closed(2, 0.9, False))
    assert found.too_few
    assert found.sentences[0] == "2 closed jobs: too few to tell how honest the odds were."
    [nine] = found.bins
    assert (nine.tens, nine.jobs, nine.came_true, nine.honest_low, nine.honest_high) == (9, 2, 1, 1, 2)


def test_honest_odds_are_not_spoken_against_and_boastful_ones_are() -> None:
    honest = told(*drawn(400, 3, lambda odds: odds))
    assert not honest.too_few
    assert "Nothing speaks against them." in honest.sentences[0]
    boastful = told(*drawn(400, 3, lambda odds: odds - 0.25))
    assert "They were not honest" in boastful.sentences[0]
    assert boastful.off_by is not None
    assert boastful.off_by_floor_high is not None
    assert boastful.off_by > boastful.off_by_floor_high


def test_honest_sets_lie_below_the_high_floor_in_about_19_of_20() -> None:
    sets = [told(*drawn(120, seed, lambda odds: odds)) for seed in range(200)]
    above = [one for one in sets if (one.off_by or 0) > (one.off_by_floor_high or 0)]
    assert 1 <= len(above) <= 22
    mean = sum(one.off_by or 0 for one in sets) / len(sets)
    floor = sum(one.off_by_floor or 0 for one in sets) / len(sets)
    assert abs(mean - floor) < 0.005


def test_a_story_without_a_subject_means_any_of_its_kind_and_places_are_counted() -> None:
    bridge = Closing(
        id="c-1", job_id="j-1", closed_at_ms=1, was_wrong=(WasWrong(story="bridge", how_known="measured"),),
        said_before=(SaidBefore(story="wet", odds=0.6), SaidBefore(story="bridge", subject="1-2", odds=0.4)),
    )
    other = Closing(
        id="c-2", job_id="j-2", closed_at_ms=1, was_wrong=(WasWrong(story="bridge", subject="3-4", how_known="seen"),),
        said_before=bridge.said_before,
    )
    found = told(bridge, other)
    assert (found.jobs, found.first, found.among_three) == (2, 0, 1)
    # -ln 0.4 and -ln of the least that is told of odds
    assert found.log_nat == 3.11


def test_a_second_fault_is_no_other_answer_to_what_led() -> None:
    """It was said beside each leading story: counted among them, odds of one job would add up to more than one."""
    plain = closed(1, 0.6, False)
    beside = SaidBefore(story="leak", odds=0.95, beside=True)
    assert told(replace(plain, said_before=(*plain.said_before, beside))) == told(plain)
    assert told(replace(plain, said_before=(beside,))).not_counted[0].code == "no_odds"


@pytest.mark.parametrize(
    ("written", "told", "same"),
    [
        ("9-11", "9-11", True), ("11 - 9", "9-11", True), ("f3", "F3", True), ("1", "+1", True), ("-1", "-1", True),
        ("-1", "+1", False), ("9-11", "9-12", False), ("28\N{EN DASH}30", "28-30", True), ("U1", "U16", False),
    ],
)
def test_a_subject_is_known_as_people_write_it(written: str, told: str, same: bool) -> None:
    assert same_subject(written, told) is same


def test_what_cannot_judge_the_odds_is_named() -> None:
    found = told(
        closed(1, 0.8, True), closed(2, 0.8, True, job_id="j-3"), closed(3, 0.8, False, job_id="j-3"),
        closed(4, 0.8, True, how="believed"), Closing(id="c-5", job_id="j-5", closed_at_ms=1),
        Closing(id="c-6", job_id="j-6", closed_at_ms=1, was_wrong=(WasWrong(story="wet", how_known="seen"),)),
    )
    assert found.jobs == 1
    assert {one.code: one.job_ids for one in found.not_counted} == {
        "disputed": ("j-3",), "only_believed": ("j-4",), "never_found_out": ("j-5",), "no_odds": ("j-6",),
    }


def test_seconds_saved_are_said_either_way() -> None:
    found = told(closed(1, 0.8, True, reading_s=90.0, sweep_s=240.0), closed(2, 0.8, True))
    assert (found.timed_jobs, found.reading_s, found.sweep_s) == (1, 90.0, 240.0)
    assert "150 s less than every contact in turn" in found.sentences[-1]
    longer = told(closed(1, 0.8, True, reading_s=300.0, sweep_s=240.0))
    assert "60 s more than every contact in turn" in longer.sentences[-1]


def test_chances_are_judged_by_how_device_and_data_ended() -> None:
    def ended(number: int, device: Any, data: Any, chance: float | None) -> Closing:
        return Closing(
            id=f"c-{number}", job_id=f"j-{number}", closed_at_ms=1, device=device, data=data,
            device_chance_before=chance, data_chance_before=chance,
        )

    found = told(
        ended(1, "works", "safe", 0.9), ended(2, "works_in_part", "lost", 0.8),
        ended(3, "does_not_work", "in_part", 0.5),
        ended(4, "not_tried", "not_asked", 0.5), ended(5, "works", "safe", None),
    )
    device, data = found.chances
    assert (device.of, device.jobs, device.came_true, device.said_sum) == ("device", 3, 2, 2.2)
    # by hand: 0.1 0.2 0.5 squared, over three; none comes true in 0.1 x 0.2 x 0.5 of such sets
    assert device.brier == 0.1
    assert (device.honest_low, device.honest_high) == (1, 3)
    assert device.sentence == (
        "The device works in 2 of 3 jobs; honest chances as they were said give 1 to 3 in 19 of 20 such sets."
    )
    assert (data.of, data.jobs, data.came_true, data.brier) == ("data", 2, 1, 0.325)


def test_chances_that_promised_too_much_lie_outside_the_honest_range() -> None:
    jobs = [
        Closing(id=f"c-{n}", job_id=f"j-{n}", closed_at_ms=1, device="works" if n % 2 else "does_not_work",
                device_chance_before=0.9)
        for n in range(30)
    ]
    [device] = told(*jobs).chances
    assert device.came_true < device.honest_low
