"""Ways of going on: their order, their costs, and what the screen is told about both."""

import pytest

from server.engine.door import form_opinion
from shared_models.closing import OptionFigure, ShopFigures
from shared_models.job import Intake
from shared_models.opinion import Opinion
from tests.support.sheets import random_sheet
from tests.support.what_next import opinion_on, way

SLIPPED = "t10_slipped_in_crooked_then_all_answers"
BRIDGED = "t10_new_socket_stripes_then_all_answers"
TORN = "t10_turned_under_the_scope_then_all_answers"
NO_DATA = Intake(data_matters="no")
FIGURES = ShopFigures(
    id="shop", currency="crowns", hour_cost=60.0,
    options=(OptionFigure(option="replace_part", parts_cost=4.0, work_h=0.75),),
)  # fmt: skip


def order(opinion: Opinion) -> list[str]:
    assert opinion.options is not None
    return [one.kind for one in opinion.options.ways]


def why(opinion: Opinion) -> list[str]:
    assert opinion.options is not None
    return [reason.code for reason in opinion.options.order]


def test_each_way_has_its_chances_hours_what_goes_wrong_and_whether_it_can_be_undone() -> None:
    opinion = opinion_on(SLIPPED)
    assert sorted(order(opinion)) == sorted(
        ("reseat_or_clean", "other_module", "replace_part", "replace_socket", "donor_board", "move_data_set",
         "specialist", "stop")
    )  # fmt: skip
    assert opinion.options is not None
    for one in opinion.options.ways:
        assert one.work_h > 0 and one.goes_wrong and one.title, one.kind
        assert 0 <= one.device_odds <= 1
    assert way(opinion, "replace_part").about == ("F3",)


def test_without_a_shops_figures_no_price_is_made_up() -> None:
    opinion = opinion_on(SLIPPED)
    assert opinion.options is not None
    assert not opinion.options.own_figures and not opinion.options.by_cost
    assert [one.kind for one in opinion.options.ways if one.whole_cost is not None] == []
    assert {one.work_h_from for one in opinion.options.ways} == {"common_practice"}
    assert "has not said" in opinion.options.order[0].sentence


def test_with_the_shops_figures_costs_are_parts_and_hours() -> None:
    opinion = opinion_on(SLIPPED, figures=FIGURES, limit_cost=100.0)
    part = way(opinion, "replace_part")
    assert part.whole_cost == 4.0 + 0.75 * 60
    assert part.work_h_from == "shop"
    assert not part.over_cost
    assert way(opinion, "move_data_set").over_cost
    assert opinion.options is not None and opinion.options.currency == "crowns" and opinion.options.by_cost


def test_hours_above_what_is_left_of_the_owners_limit_are_marked() -> None:
    opinion = opinion_on(SLIPPED, limit_work_min=120.0)
    assert way(opinion, "move_data_set").over_time
    assert not way(opinion, "replace_part").over_time


def test_when_data_matter_what_cannot_be_undone_comes_last_and_it_is_said_why() -> None:
    with_data = opinion_on(TORN)
    without = opinion_on(TORN, intake=NO_DATA)
    assert order(without).index("replace_socket") == 0
    assert order(with_data).index("replace_socket") > order(with_data).index("specialist")
    assert order(with_data)[0] == "reseat_or_clean"
    assert "data_first" in why(with_data) and "data_first" not in why(without)
    assert any(reason.code == "last_since_data" for reason in way(with_data, "replace_socket").reasons)
    assert way(without, "replace_socket").reasons == ()


def test_nobody_asked_counts_as_if_data_matter_and_says_so() -> None:
    opinion = opinion_on(TORN, intake=Intake(data_matters="not_asked"))
    assert opinion.options is not None
    first = next(reason for reason in opinion.options.order if reason.code == "data_first")
    assert "Nobody has asked" in first.sentence


def test_the_p_per_cost_rule_is_said_not_to_hold_where_two_faults_are_likely() -> None:
    assert "p_per_cost_does_not_hold" in why(opinion_on(SLIPPED))
    assert "p_per_cost_does_not_hold" not in why(opinion_on(BRIDGED))


def test_a_dear_way_falls_behind_a_cheap_one_of_the_same_chance() -> None:
    cheap = opinion_on("t10_everything_reads_high_then_plug_ohms", intake=NO_DATA, figures=FIGURES)
    dear = (*FIGURES.options, OptionFigure(option="other_module", parts_cost=400.0))
    dearer = opinion_on(
        "t10_everything_reads_high_then_plug_ohms", intake=NO_DATA,
        figures=ShopFigures(id="shop", hour_cost=60.0, options=dear),
    )  # fmt: skip
    assert order(cheap)[0] == "other_module"
    assert order(dearer)[0] == "reseat_or_clean"


def test_what_does_nothing_for_what_was_found_is_said_to_and_stands_behind() -> None:
    opinion = opinion_on(SLIPPED, intake=NO_DATA)
    module = way(opinion, "other_module")
    assert not module.helps
    assert order(opinion).index("other_module") > order(opinion).index("replace_part")
    assert order(opinion)[-1] == "stop"


def test_a_chip_of_the_data_that_is_all_that_is_hurt_may_be_left_as_it_is() -> None:
    stop = way(opinion_on("t10_tool_across_two"), "stop")
    assert stop.device_odds > 0.7
    assert way(opinion_on(SLIPPED), "stop").device_odds < 0.05  # its fuse must be mended


def test_where_two_things_are_wrong_each_way_that_mends_one_says_what_else_is_needed() -> None:
    """The screen pulled the fuse down: neither F3 nor another screen is enough, and neither does nothing."""
    opinion = opinion_on("t10_screen_pulled_the_fuse_then_plug_ohms", figures=FIGURES)
    part, module = way(opinion, "replace_part"), way(opinion, "other_module")
    assert (part.beside, module.beside) == (("other_module",), ("replace_part",))
    assert part.helps and module.helps and module.device_odds < 0.01
    assert "another module or cable" in next(one for one in part.reasons if one.code == "does_its_part").sentence
    assert set(order(opinion)[:2]) == {"replace_part", "other_module"}
    assert way(opinion, "replace_socket").helps is False


def test_when_data_matter_what_mends_a_part_waits_for_who_does_only_data() -> None:
    opinion = opinion_on("t10_charged_while_wet_then_ohms")
    assert order(opinion)[0] == "specialist"
    assert way(opinion, "reseat_or_clean").beside == ("replace_part",)
    assert order(opinion).index("reseat_or_clean") < order(opinion).index("move_data_set")


def test_a_way_is_headed_by_what_it_is_about() -> None:
    wet = opinion_on("t10_charged_while_wet_then_ohms")
    assert way(wet, "replace_part").heading == "Find what shorts 3V3D and replace it"
    assert way(wet, "reseat_or_clean").heading.startswith("Seat again or clean at 20, 21, 22")
    assert way(opinion_on(SLIPPED), "replace_part").heading == "Replace the part F3"
    assert way(wet, "stop").heading == way(wet, "stop").title


@pytest.mark.parametrize("seed", [181, 227])
def test_a_chance_printed_as_nothing_is_none_in_words_too(seed: int) -> None:
    # chances of these sheets are nothing but for what adding up left in the last bits
    options = form_opinion(random_sheet(seed)).options
    assert options is not None
    nothing = [one for one in options.ways if one.device_odds == 0]
    assert nothing
    assert {one.device_in_tens for one in nothing} == {"none"}
    assert "none" not in {one.device_in_tens for one in options.ways if one.device_odds > 0}
