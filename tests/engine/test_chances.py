"""Chances for the device and the data: the trade's rules, each by its own test, on the invented shop's jobs."""

from msgspec.structs import replace

from server.engine.accepted_board import accept_board
from server.engine.chances import TABLE_RATES
from server.engine.mends import Branch, Fault
from server.engine.wording_chances import in_tens, why_device
from shared_models.chances import Chance, Chances
from shared_models.job import Intake
from shared_models.opinion import Opinion
from shared_models.reading import AtPartEnd, Reading
from shared_models.sheet import PastMends, Shop
from tests.support.what_next import kept, noted, opinion_on, way, with_parts

SLIPPED = "t10_slipped_in_crooked_then_all_answers"
BRIDGED = "t10_new_socket_stripes_then_all_answers"
TORN = "t10_turned_under_the_scope_then_all_answers"
VBUS = "p1_usb_c_vbus_short"


def chances(opinion: Opinion) -> Chances:
    assert opinion.chances is not None
    return opinion.chances


def data(opinion: Opinion) -> Chance:
    told = chances(opinion).data
    assert told is not None
    return told


def codes(chance: Chance) -> list[str]:
    return [reason.code for reason in chance.reasons]


def test_device_and_data_are_two_questions_with_an_interval_each() -> None:
    told = chances(opinion_on(SLIPPED))
    assert told.data is not None and told.in_full is not None
    for one in (told.device, told.in_full, told.data):
        assert 0 <= one.low <= one.odds <= one.high <= 1
    assert told.in_full.odds < told.device.odds < told.data.odds


def test_what_lies_behind_a_hurt_chip_of_the_data_stays_behind_and_is_named() -> None:
    told = chances(opinion_on(SLIPPED))
    assert told.without == ("24", "28")
    hurt = next(reason for reason in told.device.reasons if reason.code == "fault_data_chip")
    assert hurt.parts == ("U1",) and hurt.contacts == ("24", "28")


def test_reasons_say_what_the_chances_rest_on() -> None:
    told = chances(opinion_on(SLIPPED))
    assert told.rests_on.reference_boards == 9
    assert told.rests_on.past_jobs == 0
    assert "no own figures yet" in told.rests_on.sentence
    shop = Shop(mends=(PastMends(fault="small_part", worked_times=22, failed_times=0),))
    own = chances(opinion_on(SLIPPED, shop=shop))
    assert own.rests_on.past_jobs == 22 and "22 past jobs" in own.rests_on.sentence
    assert own.device.odds > told.device.odds


def test_past_jobs_that_failed_lower_the_chance_and_many_narrow_it() -> None:
    base = chances(opinion_on(BRIDGED)).device
    failed = chances(opinion_on(BRIDGED, shop=Shop(mends=(PastMends(fault="seat", failed_times=10),)))).device
    many = chances(opinion_on(BRIDGED, shop=Shop(mends=(PastMends(fault="seat", worked_times=955, failed_times=45),))))
    assert failed.odds < base.odds - 0.2
    assert many.device.high - many.device.low < 0.5 * (base.high - base.low)


def test_a_donor_board_brings_the_machine_back_and_not_the_data() -> None:
    donor = way(opinion_on(SLIPPED), "donor_board")
    assert donor.device_odds > 0.8
    assert donor.data_odds == 0
    assert any(reason.code == "donor_not_data" for reason in donor.reasons)


def test_a_drive_that_comes_out_goes_along_with_a_donor_board() -> None:
    board = with_parts(kept(SLIPPED).board, U1={"guards_data": False})
    opinion = opinion_on(SLIPPED, board=board, storage="removable")
    donor = way(opinion, "donor_board")
    assert donor.data_odds is not None and donor.data_odds > 0.9
    assert data(opinion).odds > 0.95


def test_moving_the_set_of_chips_is_a_data_method_with_its_own_risk() -> None:
    moved = way(opinion_on(SLIPPED), "move_data_set")
    assert moved.data_odds is not None and 0 < moved.data_odds < data(opinion_on(SLIPPED)).odds
    assert moved.undone == "no"
    assert any(reason.code == "set_is_data_method" for reason in moved.reasons)


def test_small_parts_and_connectors_can_be_mended() -> None:
    for name in (BRIDGED, TORN, "t10_part_knocked_off"):
        assert chances(opinion_on(name)).device.odds > 0.85, name


def test_a_hard_short_left_inside_the_data_chip_is_the_end_of_that_road() -> None:
    """28 and the far end of R214 both at 1 mV: nothing is left to take the drop but the chip itself."""
    short = []
    for reading in kept(SLIPPED).readings:
        touch = reading.touch
        at_28 = getattr(touch, "contact", "") == "28" and reading.kind == "drop"
        far = isinstance(touch, AtPartEnd) and touch.part == "R214"
        short.append(_typed(reading, "34" if at_28 else "1") if at_28 or far else reading)
    opinion = opinion_on(SLIPPED, readings=tuple(short))
    assert data(opinion).odds < 0.1
    assert chances(opinion).device.odds < 0.1
    assert "fault_data_shorted" in codes(data(opinion))
    moved = way(opinion, "move_data_set")
    assert moved.data_odds is not None and moved.data_odds < 0.05
    held = [line.id for line in opinion.stop_list if line.state == "holds"]
    assert "short_in_data_chip" in held


def _typed(reading: Reading, as_typed: str) -> Reading:
    return replace(reading, as_typed=as_typed, value=None)


def test_every_power_up_on_an_unexplained_low_line_can_end_what_is_left() -> None:
    never = opinion_on(SLIPPED)
    once = opinion_on(SLIPPED, observations=(*kept(SLIPPED).observations, noted("draw_low_steady")))
    twice = opinion_on(
        SLIPPED, observations=(*kept(SLIPPED).observations, noted("draw_low_steady"), noted("draw_low_steady", 1))
    )
    assert "powered_unexplained" in codes(data(twice)) and "powered_unexplained" not in codes(data(never))
    assert data(twice).odds < data(once).odds < data(never).odds
    explained = opinion_on(BRIDGED, observations=(noted("draw_as_healthy"),))
    assert "powered_unexplained" not in codes(data(explained))


def test_where_the_storage_sits_moves_the_data_and_not_the_device() -> None:
    board = with_parts(kept(VBUS).board, U4={"guards_data": False})
    told = {
        how: chances(opinion_on(VBUS, board=board, storage=how))
        for how in ("removable", "soldered", "sealed_to_chip", "not_known")
    }
    odds = {how: one.data.odds for how, one in told.items() if one.data is not None}
    assert odds["removable"] > odds["soldered"] > odds["sealed_to_chip"]
    assert len({one.device.odds for one in told.values()}) == 1
    assert told["not_known"].data is not None and "storage_not_known" in codes(told["not_known"].data)
    assert not told["not_known"].storage_told


def test_a_chip_that_guards_the_data_seals_them_whatever_was_said() -> None:
    told = chances(opinion_on(SLIPPED, storage="removable"))
    assert told.storage == "sealed_to_chip" and told.storage_told


def test_data_on_another_board_are_not_touched_by_this_one() -> None:
    opinion = opinion_on(SLIPPED, data_set="on_another_board")
    assert chances(opinion).data is None
    assert chances(opinion).storage == "on_another_board"
    assert opinion.options is not None
    assert [one.kind for one in opinion.options.ways if one.data_odds is not None] == []


def test_a_healthy_socket_does_not_promise_a_healthy_board() -> None:
    told = chances(opinion_on("t10_everything_reads_high_then_plug_ohms"))
    assert told.device.reasons[0].code == "fault_module"
    assert "as far as it was read" in told.device.reasons[0].sentence


def test_chances_are_told_in_tens_and_never_as_certain() -> None:
    words = {round(odds, 2): in_tens(odds) for odds in (0.0, 0.04, 0.143, 0.3, 0.61, 0.819, 0.85, 0.94, 0.951, 1.0)}
    assert words == {
        0.0: "under 1 in 20", 0.04: "under 1 in 20", 0.14: "1 to 2 in 10", 0.3: "about 3 in 10",
        0.61: "about 6 in 10", 0.82: "about 8 in 10", 0.85: "8 to 9 in 10", 0.94: "about 9 in 10",
        0.95: "over 19 in 20", 1.0: "over 19 in 20",
    }  # fmt: skip


def test_a_sheet_without_one_reading_still_says_what_the_trade_expects() -> None:
    opinion = opinion_on(SLIPPED, readings=(), intake=Intake())
    assert chances(opinion).device.low < 0.9
    assert chances(opinion).device.high > chances(opinion).device.low


def test_what_is_wet_in_two_corners_is_said_once_with_all_its_contacts() -> None:
    board = accept_board(kept("t10_wet_corner"))
    place = {contact.number: index for index, contact in enumerate(board.contacts)}
    corners = [tuple(sorted(place[one] for one in each)) for each in (("11", "12"), ("17", "20"))]
    leading = Branch(1.0, tuple(Fault("wet", f"corner {n}", contacts) for n, contacts in enumerate(corners)))
    told = why_device(board, leading, False, TABLE_RATES)
    assert [one.code for one in told] == ["fault_wet", "likeliest"]
    assert set(told[0].contacts) == {"11", "12", "17", "20"}
    # both must come right: 0.7 each by the table
    assert [one.value for one in told[0].numbers] == [0.49]
