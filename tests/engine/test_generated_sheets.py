"""Three hundred untidy sheets: each gets a sound opinion, and the order of their lists means nothing."""

import math
import random

import msgspec
import pytest
from msgspec.structs import replace

from server.engine.door import opinion_json
from shared_models.opinion import Opinion
from shared_models.sheet import BenchSheet
from tests.support.sheets import random_sheet

SEEDS = range(300)
CHUNKS = [SEEDS[start : start + 50] for start in range(0, len(SEEDS), 50)]


def test_the_generator_writes_valid_sheets_the_same_every_time_and_of_every_kind() -> None:
    kinds, lengths, verdict_worthy = set(), set(), 0
    for seed in SEEDS:
        sheet = random_sheet(seed)
        as_json = msgspec.json.encode(sheet)
        assert msgspec.json.decode(as_json, type=BenchSheet) == sheet
        assert msgspec.json.encode(random_sheet(seed)) == as_json
        kinds.add(sheet.board.sockets[0].kind)
        lengths.add(len(sheet.board.sockets[0].contacts))
        verdict_worthy += len(sheet.readings) > 5
    assert kinds == {"open_header", "zif", "micro_coax", "mezzanine", "card_edge", "other"}
    assert min(lengths) < 5
    assert max(lengths) > 55
    assert verdict_worthy > 150


@pytest.mark.parametrize("seeds", CHUNKS, ids=lambda seeds: f"from_{seeds.start}")
def test_every_sheet_gets_an_opinion_whose_numbers_are_sound(seeds: range) -> None:
    for seed in seeds:
        sheet = random_sheet(seed)
        opinion = msgspec.json.decode(opinion_json(msgspec.json.encode(sheet)), type=Opinion)
        said = f"sheet {seed}"
        numbers = [one.number for one in sheet.board.sockets[0].contacts]
        assert sorted(one.contact for one in opinion.contacts) == sorted(numbers), said
        for one in opinion.contacts:
            odds = one.odds
            total = math.fsum((odds.expected, odds.short, odds.low, odds.high, odds.open))
            assert total == pytest.approx(1, abs=1e-5), f"{said}, contact {one.contact}"
        assert opinion.stories, said
        # which way was counted is true beside whatever happened, so it does not share in the total
        story_odds = [story.odds for story in opinion.stories if story.kind != "counted_differently"]
        assert all(0 <= p <= 1 for p in story_odds), said
        assert story_odds == sorted(story_odds, reverse=True), said
        assert math.fsum(story_odds) <= 1 + 1e-5, said
        assert all(touch.gain_bits >= 0 and touch.seconds > 0 for touch in opinion.next), said
        assert bool(opinion.next) or opinion.stop is not None, said
        known = {one.id for one in (*sheet.readings, *sheet.known_good_readings)}
        assert {one.record_id for one in opinion.set_aside} <= known, said


@pytest.mark.parametrize("seeds", CHUNKS, ids=lambda seeds: f"from_{seeds.start}")
def test_a_shuffled_sheet_gets_the_same_bytes(seeds: range) -> None:
    for seed in seeds[::5]:
        sheet = random_sheet(seed)
        rng = random.Random(seed)

        def mixed(rows: tuple, rng: random.Random = rng) -> tuple:
            return tuple(rng.sample(rows, len(rows)))

        shuffled = replace(
            sheet,
            meters=mixed(sheet.meters),
            reference_boards=mixed(sheet.reference_boards),
            known_good_readings=mixed(sheet.known_good_readings),
            readings=mixed(sheet.readings),
            removed_ids=mixed(sheet.removed_ids),
            observations=mixed(sheet.observations),
            make_safe=mixed(sheet.make_safe),
        )
        assert opinion_json(msgspec.json.encode(shuffled)) == opinion_json(msgspec.json.encode(sheet)), f"sheet {seed}"
