"""A repaired board that works joins the healthy ones: as a whole, and only where it reads as they do."""

from msgspec.structs import replace

from server.engine.closing_facts import closing_facts
from server.engine.door import form_opinion
from server.engine.repaired_board import healthy_readings
from shared_models.learning import ClosingQuestion
from shared_models.reading import AtContact, OfReferenceBoard
from shared_models.sheet import BenchSheet
from tests.engine.test_repair_proof import MENDED, job

AFTER = tuple(f"after-{at}" for at in range(len(MENDED)))


def test_what_a_repaired_board_reads_after_the_repair_stands_as_a_healthy_boards_and_nothing_before() -> None:
    sheet = job(MENDED)
    assert healthy_readings(sheet) == AFTER
    assert closing_facts(ClosingQuestion(sheet=sheet)).healthy_readings == AFTER
    assert healthy_readings(replace(sheet, stage="after_repair")) == AFTER
    assert healthy_readings(job({})) == ()


def test_one_contact_that_differs_or_waits_keeps_the_whole_board_out() -> None:
    for told in ({"as_typed": "0"}, {"as_typed": "OL"}, {"as_typed": "390"}):
        assert healthy_readings(job({**MENDED, "24": told})) == ()


def test_a_reading_that_was_taken_warm_or_replaced_or_taken_back_is_no_healthy_boards() -> None:
    assert healthy_readings(job({**MENDED, "24": {"as_typed": "455", "conditions": ["warm_from_hot_air"]}})) == ()
    again = {**MENDED, "24 again": {"as_typed": "456", "supersedes": "after-0"}}
    assert healthy_readings(job(again)) == (*AFTER[1:], "after-4")
    assert healthy_readings(job(MENDED, removed_ids=["after-2"])) == tuple(one for one in AFTER if one != "after-2")


def test_a_board_that_is_counted_from_the_other_end_stays_out_while_its_numbers_are_not_the_drawings() -> None:
    sheet = job(MENDED)
    order = [one.number for one in sheet.board.sockets[0].contacts]
    other_end = dict(zip(order, reversed(order), strict=True))
    turned = [
        replace(one, id=f"t-{one.id}", stage="after_repair", touch=AtContact(contact=other_end[one.touch.contact]))
        for one in sheet.readings
        if isinstance(one.touch, AtContact) and one.stage == "before_repair"
    ]
    told = replace(sheet, readings=(*sheet.readings, *turned))
    assert form_opinion(replace(told, stage="after_repair")).numbering.order != "as_drawn"
    assert healthy_readings(told) == ()


def test_the_band_of_another_job_rests_on_it_too() -> None:
    sheet = job(MENDED)
    kept = [one for one in sheet.readings if one.id in AFTER]
    board = replace(sheet.reference_boards[0], id="repaired-t10", label="repaired, works", air_c=sheet.air_c)
    of = OfReferenceBoard(reference_board_id=board.id)
    copies = tuple(replace(one, id=f"repaired-{one.id}", of=of, stage="on_healthy_board") for one in kept)
    with_it = replace(
        sheet,
        reference_boards=(*sheet.reference_boards, board),
        known_good_readings=(*sheet.known_good_readings, *copies),
    )
    assert _boards_of(with_it, "24") == _boards_of(sheet, "24") + 1
    assert _boards_of(with_it, "22") == _boards_of(sheet, "22")


def _boards_of(sheet: BenchSheet, contact: str) -> int:
    opinion = form_opinion(sheet)
    return next(one.band.reference_boards for one in opinion.contacts if one.contact == contact)
