"""The owner's page: nothing on it that the record does not hold, plain words, never who did it, never a pass code."""

import re
from collections.abc import Iterator
from datetime import UTC, datetime, timedelta
from typing import Any, get_args

import msgspec
import pytest
from hypothesis import Phase, given, settings
from hypothesis import strategies as st
from msgspec.structs import replace

from server.engine import owner_words
from server.engine.door import form_opinion
from server.engine.owner_page import owner_page
from server.engine.owner_words import DID_WORDS, SEEN_WORDS, SENTENCES, TENS_WORDS, listed
from server.engine.proof import repair_proof
from shared_models import change
from shared_models.base import Model
from shared_models.board import Role
from shared_models.chances import OptionKind
from shared_models.closing import Closing, OptionFigure, ShopFigures
from shared_models.custody import Custody
from shared_models.hand_back import CUSTODY_OF
from shared_models.job import DataMatters, Intake, Job, Observation, Symptom, WhatHappened
from shared_models.opinion import StoryKind
from shared_models.owner_page import OwnerPage, PaperLine, PapersQuestion
from shared_models.reading import AtContact, OfJob
from shared_models.tables import SYMPTOMS, WHAT_HAPPENED
from tests.support.papers import (
    CODES,
    CROOKED,
    HARMLESS,
    MADE_AT_MS,
    demo_sheet,
    mended,
    photo,
    question_of,
    whole_visit,
)

SHEETS = [CROOKED, "t10_new_socket_stripes", "t10_everything_reads_high", "t10_wet_corner", "v2_zif_one_torn_then_tail",
          "t10_turned_under_the_scope_anchors_only", "l14_no_references_no_light", "p1_usb_c_vbus_short"]
FIXED = {
    *SENTENCES.values(), *(words[0].lower() + words[1:] for words in SENTENCES.values()), *SEEN_WORDS.values(),
    *DID_WORDS.values(), *(one.words for one in (*WHAT_HAPPENED, *SYMPTOMS, *CUSTODY_OF)), *TENS_WORDS,
    *(one.words[0].upper() + one.words[1:] for one in CUSTODY_OF),
    *(TENS_WORDS[2].format(n=n) for n in range(1, 11)), "A", "B", "C",
}


def lines_of(value: Any) -> Iterator[PaperLine]:
    """Every sentence of a page."""
    if isinstance(value, PaperLine):
        yield value
    elif isinstance(value, Model):
        for name in value.__struct_fields__:
            yield from lines_of(getattr(value, name))
    elif isinstance(value, tuple):
        for one in value:
            yield from lines_of(one)


def leaves(value: Any) -> Iterator[Any]:
    """Every text and number of plain data."""
    if isinstance(value, dict):
        for one in value.values():
            yield from leaves(one)
    elif isinstance(value, list | tuple):
        for one in value:
            yield from leaves(one)
    elif value is not None:
        yield value


def said_by(question: PapersQuestion) -> tuple[str, set[str]]:
    """All texts of the record on one line, and all other things a gap may hold: times, amounts, counts."""
    held = list(leaves(msgspec.to_builtins(question)))
    texts = "\n".join(" ".join(one.split()) for one in held if isinstance(one, str))
    others: set[str] = set()
    zone = timedelta(minutes=question.minutes_east)
    for one in held:
        if isinstance(one, int | float) and not isinstance(one, bool):
            others |= {f"{one:.0f}", f"{one:.2f}"}
            if isinstance(one, int) and 10**11 < one < 10**13:
                then = datetime.fromtimestamp(one // 60_000 * 60, UTC) + zone
                day = f"{then.day} {then:%B} {then.year}"
                others |= {day, f"{day}, {then:%H:%M}"}
    others |= {str(one) for one in counts_of(question)}
    currency = question.shop.currency if question.shop is not None else ""
    return texts, others | opinions_words(question) | {f"{one} {currency}" for one in others}


def opinions_words(question: PapersQuestion) -> set[str]:
    """What the opinion itself says of chances and ways of going on."""
    if question.sheet is None:
        return set()
    opinion = form_opinion(replace(question.sheet, stage="before_repair"))
    chances, options = opinion.chances, opinion.options
    said = {one.title[0].lower() + one.title[1:] for one in (options.ways if options is not None else ())}
    if chances is not None:
        said |= {chances.rests_on.sentence}
        said |= {one.in_tens for one in (chances.device, chances.in_full, chances.data) if one is not None}
    return said


def counts_of(question: PapersQuestion) -> list[int]:
    """What can be counted in the opinion and the proof, counted here anew."""
    if question.sheet is None:
        return []
    opinion = form_opinion(replace(question.sheet, stage="before_repair"))
    verdicts = [one.verdict for one in opinion.contacts]
    boards = [one.band.reference_boards for one in opinion.contacts]
    proved = repair_proof(question.sheet).contacts
    again = [one for one in proved if one.after is not None]
    good = [one for one in again if one.after is not None and one.after.verdict in ("expected", "unseen")]
    left = [one for one in proved if one.outcome == "not_read_again"]
    return [
        len(verdicts), verdicts.count("unread"), verdicts.count("unseen"), *boards, len(again), len(good), len(left),
    ]


def insist_that_the_record_holds_it(question: PapersQuestion, page: OwnerPage) -> None:
    texts, others = said_by(question)
    for line in lines_of(page):
        gaps = {piece.gap: listed(piece.texts) for piece in line.pieces}
        assert line.sentence == re.sub(r"\{([a-z]+)\}", lambda found, gaps=gaps: gaps[found[1]], SENTENCES[line.code])
        for piece in line.pieces:
            for text in piece.texts:
                held = text in FIXED or text in others or text.removesuffix("…") in texts
                assert held, f"{text!r} in {line.sentence!r} is neither fixed nor in the record"
    opinion = form_opinion(replace(question.sheet, stage="before_repair")) if question.sheet is not None else None
    contacts = {one.contact: one for one in (opinion.contacts if opinion is not None else ())}
    for number in page.numbers:
        assert number.what in owner_words.LINE_WORDS.values()
        assert {number.verdict, number.verdict_after} <= {"", *owner_words.VERDICT_WORDS.values()}
        told = contacts[number.contacts[0]]
        assert number.yours == ("OL" if told.reads_ol else f"{told.drop_mv:.0f}")
        band = told.band
        assert number.healthy == ("OL" if band.reads_ol else "" if band.centre_mv is None else f"{band.centre_mv:.0f}")


words = st.text(st.characters(codec="utf-8", exclude_categories=("Cs", "Cc")), max_size=300)
money = st.one_of(st.none(), st.floats(0, 1e9), st.integers(0, 5000).map(float))


plans = st.fixed_dictionaries({
    "sheet": st.sampled_from(SHEETS),
    "happened": st.sets(st.sampled_from(get_args(WhatHappened))),
    "symptoms": st.sets(st.sampled_from(get_args(Symptom))),
    "data_matters": st.sampled_from(get_args(DataMatters)),
    "opened_by": words, "in_their_words": words, "title": words, "note": words, "made_by": words,
    "again": st.sampled_from([None, "0", "480", "OL"]),
    "custody": st.lists(st.tuples(
        st.sampled_from(["device", "data_copy", "storage", "parts"]),
        st.sampled_from(["received", "copied", "returned"]),
        st.sampled_from(["not_said", "not_opened", "opened_as_agreed"]), words,
    ), max_size=4),
    "seen": st.sets(st.sampled_from(["burnt", "bent", "wet", "clean", "hot"])),
    "closed": st.sampled_from([None, "works", "not_tried"]),
    "did": st.sets(st.sampled_from(get_args(OptionKind))),
    "whole_cost": money, "limit_cost": money, "minutes_east": st.integers(-900, 900),
})


def visit_of(plan: dict[str, Any]) -> PapersQuestion:
    """A demo's job with anything an owner, a shop and a technician may have added to it."""
    sheet = demo_sheet(plan["sheet"])
    intake = Intake(
        what_happened=tuple(sorted(plan["happened"])), symptoms=tuple(sorted(plan["symptoms"])),
        data_matters=plan["data_matters"], opened_by=plan["opened_by"], in_their_words=plan["in_their_words"],
    )
    if plan["again"] is not None:
        sheet = mended(sheet, {sheet.board.sockets[0].contacts[0].number: plan["again"]})
    job_id = sheet.sheet_id
    custody = tuple(
        Custody(id=f"cu-{n}", job_id=job_id, of=of, event=event, files=files, note=note, happened_at_ms=MADE_AT_MS + n)
        for n, (of, event, files, note) in enumerate(plan["custody"])
    )
    seen = tuple(
        Observation(id=f"seen-{one}", of=OfJob(job_id=job_id), seen=one, seen_at_ms=MADE_AT_MS)
        for one in sorted(plan["seen"])
    )
    closed = plan["closed"]
    closings = () if closed is None else (Closing(id="cl", job_id=job_id, closed_at_ms=MADE_AT_MS, device=closed,
                                                  whole_cost=plan["whole_cost"], note=plan["note"],
                                                  did=tuple(sorted(plan["did"]))),)
    job = Job(id=job_id, title=plan["title"], intake=intake, socket=sheet.socket, limit_cost=plan["limit_cost"],
              opened_at_ms=MADE_AT_MS - 1)
    return question_of(replace(sheet, intake=intake), job=job, observations=seen, custody=custody, closings=closings,
                       made_by=plan["made_by"], photos=(photo(1, MADE_AT_MS, job_id),),
                       minutes_east=plan["minutes_east"])


@settings(max_examples=15, deadline=None, phases=[Phase.explicit, Phase.reuse, Phase.generate])
@given(plans)
def test_every_number_and_word_on_the_page_is_the_records_the_opinions_or_fixed(plan: dict[str, Any]) -> None:
    question = visit_of(plan)
    insist_that_the_record_holds_it(question, owner_page(question))


def test_a_whole_visit_stands_on_its_page() -> None:
    question = whole_visit()
    page = owner_page(question)
    insist_that_the_record_holds_it(question, page)
    said = " ".join(line.sentence for line in lines_of(page))
    for words in ("Your Quillon T10", "a burn mark at the socket", "It went black when the glass went in.",
                  "a slip at assembly", "Beside it: a small fuse beside the socket has blown.", "over 19 in 20",
                  "The work costs 95.50 crowns.", "You agreed to at most 140 crowns.", "Your files were not opened.",
                  "Old parts: the blown fuse, the old screen.", "Measured by Wren with bench meter."):
        assert words in said, words
    assert [(one.yours, one.healthy, one.after, one.contacts) for one in page.numbers] == [
        ("61", "482", "61", ("28",)), ("529", "489", "488", ("30", "32")), ("434", "452", "", ("24",)),
    ]
    assert {one.healthy_from.sentence for one in page.numbers} == {"9 healthy boards"}
    assert [(one.photo_id, one.when) for one in page.photos] == [("photo-1", "before"), ("photo-3", "after")]
    assert page.received is not None and page.received.strokes


def test_the_page_never_says_who_did_it_nor_who_had_it() -> None:
    page = msgspec.json.encode(owner_page(whole_visit())).decode()
    assert "cousin" not in page and "Quennell's tablet" not in page
    assert page.count("T. Quennell") == 2, "only where the owner signed: the sentence and its piece"
    told = " ".join(SENTENCES.values()).lower()
    assert not re.search(r"\b(he|she|who|somebody|someone|your friend|the other shop|whoever)\b", told)


def test_the_page_names_no_contact_net_or_part_and_says_no_percent() -> None:
    for name in SHEETS:
        sheet = demo_sheet(name)
        page = owner_page(question_of(sheet))
        said = " ".join([*(one.sentence for one in lines_of(page)), *(one.what for one in page.numbers)])
        names = {one.ref for one in sheet.board.parts} | {one.name for one in sheet.board.nets}
        names |= {one.name for socket in sheet.board.sockets for one in socket.contacts if len(one.name) > 2}
        assert [one for one in names if re.search(rf"\b{re.escape(one)}\b", said) and one.lower() != "ground"] == []
        assert "%" not in said and not re.search(r"\d\.\d", said), said


def test_chances_for_device_and_data_are_the_opinions_own_with_what_they_rest_on() -> None:
    question = question_of(demo_sheet(CROOKED))
    assert question.sheet is not None
    chances = form_opinion(question.sheet).chances
    page = owner_page(question)
    assert chances is not None and chances.data is not None and chances.in_full is not None
    assert [(one.of, one.chance.sentence) for one in page.chances] == [
        ("device", chances.device.in_tens), ("data", chances.data.in_tens)]
    assert chances.in_full.in_tens in page.chances[0].means.sentence
    assert page.chances_rest_on is not None and "9 healthy boards" in page.chances_rest_on.sentence


@pytest.mark.parametrize("question", [
    whole_visit(), question_of(None), question_of(demo_sheet("t10_leads_swapped")),
    question_of(mended(demo_sheet("t10_new_socket_stripes"), {"9": "338", "11": "339"})),
], ids=["closed", "no board", "own measuring", "proved mended"])
def test_chances_are_absent_once_there_is_nothing_to_hope_for_or_nothing_is_known(question: PapersQuestion) -> None:
    page = owner_page(question)
    assert (page.chances, page.chances_rest_on, page.advice) == ((), None, ())


def test_files_are_called_unopened_only_where_the_record_says_so_and_nobody_copied_them() -> None:
    back = Custody(id="cu", job_id="job-1", of="device", event="returned", happened_at_ms=MADE_AT_MS)
    copied = Custody(id="cc", job_id="job-1", of="data_copy", event="copied", happened_at_ms=MADE_AT_MS)

    def said(*custody: Custody) -> list[str]:
        return [one.code for one in owner_page(question_of(None, custody=custody)).files]

    assert said() == said(back) == []
    assert said(replace(back, files="not_opened")) == ["files_not_opened"]
    assert said(replace(back, files="not_opened"), copied) == []
    assert said(replace(back, files="opened_as_agreed"), copied) == ["files_as_agreed"]


def test_measuring_of_ones_own_that_is_not_settled_is_no_finding_about_the_board() -> None:
    page = owner_page(question_of(demo_sheet("t10_leads_swapped")))
    assert [one.code for one in page.found] == ["own_measuring"]


def test_what_is_less_likely_than_not_is_not_told_as_found() -> None:
    for name in SHEETS:
        question = question_of(demo_sheet(name))
        codes = [one.code for one in owner_page(question).found]
        assert question.sheet is not None
        leading = form_opinion(question.sheet).stories[0].odds
        assert ("unsettled" in codes) <= (leading < 0.5), name


def test_lines_are_called_hurt_only_where_some_were_measured_to_be() -> None:
    """What was told at the counter alone makes a plug off its place likely: the page says that it rests on that."""
    plain = demo_sheet(CROOKED)
    told = [one.code for one in owner_page(question_of(plain)).found]
    assert told[:2] == ["hurt_together", "found_plug_off_by"] and "nothing_odd" not in told
    odd = {one.contact for one in form_opinion(plain).contacts if one.verdict not in ("expected", "unread", "unseen")}
    healthy = replace(plain, readings=tuple(
        one for one in plain.readings if isinstance(one.touch, AtContact) and one.touch.contact not in odd))
    told = [one.code for one in owner_page(question_of(healthy)).found]
    assert "hurt_together" not in told and "found_plug_off_by" in told and "nothing_odd" in told
    well = [one.code for one in owner_page(question_of(demo_sheet("t10_all_healthy_half_read"))).found]
    assert "nothing_odd" not in well


def test_a_job_without_a_board_has_a_page_of_what_was_told() -> None:
    intake = Intake(what_happened=("liquid",), data_matters="yes")
    page = owner_page(question_of(None, job=Job(id="job-1", intake=intake, limit_cost=80.0)))
    assert page.title.sentence == "Your device: what we found"
    assert [one.sentence for one in page.found] == ["Nothing has been measured yet."]
    assert [one.code for one in page.waiting] == ["waiting_wet"] and page.numbers == ()


def test_what_is_proved_mended_has_nothing_that_waiting_makes_worse() -> None:
    plain = demo_sheet("t10_new_socket_stripes")
    sheet = replace(plain, intake=replace(plain.intake, data_matters="yes"))
    assert [one.code for one in owner_page(question_of(sheet)).waiting] == ["waiting_data"]
    page = owner_page(question_of(mended(sheet, {"9": "338", "11": "339"})))
    assert page.waiting == () and [one.code for one in page.after_work] == ["after_all"]


def test_a_short_and_data_that_are_not_settled_are_what_waiting_makes_worse() -> None:
    def codes(**closed: Any) -> list[str]:
        ends = [Closing(id="closed", job_id="j", closed_at_ms=MADE_AT_MS, **closed)] if closed else []
        sheet = demo_sheet("t10_charged_while_wet_then_ohms")
        return [one.code for one in owner_page(question_of(sheet, closings=tuple(ends))).waiting]

    assert codes() == codes(device="not_tried") == ["waiting_wet", "waiting_short", "waiting_data"]
    assert codes(data="safe") == codes(data="lost") == ["waiting_wet", "waiting_short"]
    assert codes(device="works") == []


@pytest.mark.parametrize("name", ["StoryKind", "Role"])
def test_every_story_and_role_has_its_plain_words(name: str) -> None:
    if name == "Role":
        assert set(get_args(Role)) == set(owner_words.LINE_WORDS)
    else:
        told = {one for one in get_args(StoryKind) if f"found_{one}" in SENTENCES}
        assert told | set(owner_words.OWN_MEASURING) == set(get_args(StoryKind))


# ---- no pass codes, ever ------------------------------------------------------------------------------


def test_no_record_has_a_field_for_a_pass_code() -> None:
    def fields(kind: Any, seen: set[str]) -> Iterator[str]:
        if isinstance(kind, type) and issubclass(kind, Model):
            if kind.__name__ not in seen:
                seen.add(kind.__name__)
                for one in msgspec.structs.fields(kind):
                    yield f"{kind.__name__}.{one.name}"
                    yield from fields(one.type, seen)
        else:
            for inner in get_args(kind):
                yield from fields(inner, seen)

    seen: set[str] = set()
    kinds = [*change.FACT_TYPES.values(), *change.ENTITY_TYPES.values()]
    names = [name for kind in kinds for name in fields(kind, seen)]
    assert len(names) > 200
    telling = re.compile(r"pass|secret|unlock|credential|puk|(^|_)pin(_?code)?$|(^|_)code$")
    found = {name for name in names if telling.search(name.split(".")[1])}
    assert found == {"ChipPin.pin", "BoardPad.pin", "Feed.pin", "Feed.out_pin"}, "pins are no codes"


@pytest.mark.parametrize("code", CODES)
def test_words_that_look_like_a_pass_code_stand_on_no_page(code: str) -> None:
    intake = Intake(in_their_words=f"Dark. {code}", data_matters="yes")
    back = Custody(id="cu", job_id="job-1", of="device", event="returned", note=code, happened_at_ms=MADE_AT_MS)
    page = owner_page(question_of(None, job=Job(id="job-1", intake=intake), custody=(back,)))
    assert code not in msgspec.json.encode(page).decode()
    assert "told_words" not in [one.code for one in lines_of(page)]


@pytest.mark.parametrize("plain", HARMLESS)
def test_words_of_the_bench_are_not_taken_for_a_pass_code(plain: str) -> None:
    page = owner_page(question_of(None, job=Job(id="job-1", intake=Intake(in_their_words=plain))))
    assert plain in " ".join(one.sentence for one in page.told)


def test_a_screen_that_pulled_the_fuse_down_is_named_beside_it_and_both_are_needed() -> None:
    page = owner_page(question_of(demo_sheet("t10_screen_pulled_the_fuse_then_plug_ohms")))
    assert [one.code for one in page.found][:2] == ["found_fuse_open", "beside_module"]
    assert "both are needed" in page.found[1].sentence
    assert [one.code for one in page.waiting] == ["waiting_module"]


def test_where_two_things_are_wrong_the_page_advises_both_and_their_cost() -> None:
    figures = ShopFigures(id="shop", currency="crowns", hour_cost=60.0, options=(
        OptionFigure(option="replace_part", work_h=1.0, parts_cost=4.0),
        OptionFigure(option="other_module", work_h=0.5, parts_cost=85.0),
    ))
    sheet = replace(demo_sheet("t10_screen_pulled_the_fuse_then_plug_ohms"), figures=figures)
    told = [one.sentence for one in owner_page(question_of(sheet)).advice]
    assert told == [
        "We would go on with: replace the part and another module or cable.", "That costs about 179 crowns.",
    ]


@pytest.mark.parametrize("option", get_args(OptionKind))
def test_every_way_of_going_on_has_plain_words_for_having_been_gone(option: str) -> None:
    assert owner_words.DID_WORDS[option]


def test_a_job_that_was_stopped_for_the_data_still_says_what_can_be_hoped_for() -> None:
    stopped = Closing(id="closed", job_id="t10-data", did=("stop", "specialist"), device="not_tried",
                      data="not_touched", closed_at_ms=MADE_AT_MS)
    page = owner_page(question_of(demo_sheet("t10_charged_while_wet_then_ohms"), closings=(stopped,)))
    assert [one.of for one in page.chances] == ["device", "data"] and page.chances_rest_on is not None
    said = "What was done: stopped before anything gets worse and handed on to who works on data only."
    assert [one.sentence for one in page.done] == [said]
    lost = owner_page(question_of(demo_sheet("t10_charged_while_wet_then_ohms"),
                                  closings=(replace(stopped, device="does_not_work", data="lost"),)))
    assert lost.chances == () and lost.chances_rest_on is None


def test_where_two_closings_differ_the_page_says_of_neither_what_was_done_or_what_it_costs() -> None:
    one = Closing(id="one", job_id="j", did=("replace_part",), device="works", whole_cost=80.0, closed_at_ms=MADE_AT_MS)
    other = replace(one, id="other", did=("stop",), device="does_not_work", whole_cost=20.0)
    page = owner_page(question_of(demo_sheet(CROOKED), closings=(one, other)))
    assert page.done == () and [one.code for one in page.cost] == ["no_price"]
    holds = replace(one, id="holds", supersedes=("one", "other"))
    page = owner_page(question_of(demo_sheet(CROOKED), closings=(one, other, holds)))
    assert [one.code for one in (*page.done, *page.cost)] == ["done", "whole_cost"]


def test_a_healthy_ground_is_the_last_thing_an_owner_is_shown() -> None:
    page = owner_page(question_of(demo_sheet("t10_screen_pulled_the_fuse_then_plug_ohms")))
    assert [one.verdict for one in page.numbers] == ["too high", "as it should", "as it should"]
    assert not any("ground" in one.what for one in page.numbers)
