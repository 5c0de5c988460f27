"""What the three whole visits of the demo hold at their end is what the app itself would have put there."""

import pytest

from demo.shop.boards import T10
from demo.shop.meters import SHOP_METERS
from demo.shop.references import T10_GOOD
from demo.shop.visits import Visit, visits
from server.engine.closing_facts import closing_facts
from shared_models.closing import Closing
from shared_models.learning import ClosingFacts, ClosingQuestion
from shared_models.sheet import BenchSheet

REMEMBERED_WITHIN = 0.1
"""Odds and chances are typed as a technician would remember them, and rounded so."""

VISITS = {visit.record.job.id: visit for visit in visits()}


def closing_of(visit: Visit) -> Closing:
    (closing,) = (fact for _, fact in visit.facts if isinstance(fact, Closing))
    return closing


def told(visit: Visit) -> ClosingFacts:
    """What the phone would put into the closing by itself."""
    record, job = visit.record, visit.record.job
    sheet = BenchSheet(
        sheet_id=job.id, asked_at_ms=closing_of(visit).closed_at_ms, board=T10, socket=job.socket or "",
        meters=SHOP_METERS, meter_id=job.meter_id, air_c=job.air_c, intake=job.intake, storage=job.storage,
        data_set=job.data_set, reference_boards=T10_GOOD.boards, known_good_readings=T10_GOOD.readings,
        make_safe=record.proofs, observations=record.observations, readings=record.readings,
    )
    return closing_facts(ClosingQuestion(sheet=sheet, was_wrong=closing_of(visit).was_wrong))


@pytest.mark.parametrize("job", VISITS)
def test_what_a_closing_of_the_demo_says_was_said_before_is_what_the_opinion_says(job: str) -> None:
    typed, by_itself = closing_of(VISITS[job]), told(VISITS[job])
    assert by_itself.said_before[0].story == typed.said_before[0].story
    assert by_itself.said_before[0].odds == pytest.approx(typed.said_before[0].odds, abs=REMEMBERED_WITHIN)
    assert sum(one.odds for one in typed.said_before if not one.beside) <= 1
    beside, own = ({(one.story, one.subject): one.odds for one in each.said_before if one.beside}
                   for each in (typed, by_itself))
    assert beside == pytest.approx(own, abs=REMEMBERED_WITHIN)
    assert by_itself.device_chance_before == pytest.approx(typed.device_chance_before, abs=REMEMBERED_WITHIN)
    if typed.data_chance_before is not None:
        assert by_itself.data_chance_before == pytest.approx(typed.data_chance_before, abs=REMEMBERED_WITHIN)
    assert by_itself.touches == typed.touches


def test_a_repaired_board_of_the_demo_stands_among_the_healthy_ones_as_closing_offers_it() -> None:
    kept = {job: visit.kept for job, visit in VISITS.items() if visit.kept is not None}
    assert set(kept) == {"t10-shield"}
    visit, board = VISITS["t10-shield"], kept["t10-shield"]
    assert board is not None
    assert tuple(one.id for one in board.readings) == tuple(f"repaired-{one}" for one in told(visit).healthy_readings)
    assert board.board.board_version_id == T10.id and closing_of(visit).device == "works"
