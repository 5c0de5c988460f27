"""What is kept between two questions changes no answer: not the memo, not what was asked in between.

The same bytes under other hash seeds and on the phone's Python are held by test_same_bytes_everywhere; here
lie the sheets that share a board and differ in what the memo must not forget, and the refusals.
"""

import itertools
import random
from collections.abc import Iterator

import msgspec
import pytest
from msgspec.structs import replace

from demo.shop.bench import Bench
from demo.shop.boards import T10
from demo.shop.meters import BENCH_METER, BORROWED_METER, BORROWED_METER_NO_SHEET, SMALL_METER
from demo.shop.references import T10_GOOD
from demo.shop.table import T10_J7
from server.engine import known_boards, prepared, session
from server.engine.constants.sessions import MEMO_SIZE
from server.engine.door import SheetError, opinion_json, sheet_digest
from server.engine.meters import Conditions
from server.engine.prepared import Prepared, prepare
from server.engine.session import KnownBands
from shared_models.board import ContactCorrection
from shared_models.job import Intake
from shared_models.reading import Meter
from shared_models.sheet import BenchSheet, ExposureOdds, Shop, ShopWeight
from tests.support.pyodide_node import PhoneError, PyodideNode
from tests.support.sheets import random_sheet


def base() -> BenchSheet:
    """Job 2 of the T10, as typed."""
    own = Bench("memo", T10, T10_GOOD, BENCH_METER, start_ms=1_745_000_000_000, by="Ines")
    return own.sheet(readings=own.pen.sweep(T10_J7.typed("job2"), {}))


def variants() -> dict[str, BenchSheet]:
    """Sheets on one board that differ in one thing each."""
    sheet = base()
    found = {"base": sheet}
    for meter, air_c in itertools.product((BORROWED_METER, BORROWED_METER_NO_SHEET, SMALL_METER), (None, 3.0, 40.0)):
        own = Bench("memo", T10, T10_GOOD, meter, start_ms=1_745_000_000_000, by="Ines", air_c=air_c)
        found[f"{meter.name} at {air_c}"] = own.sheet(readings=own.pen.sweep(T10_J7.typed("job5"), {}))
    found["other intake"] = replace(sheet, intake=Intake(what_happened=("liquid",)))
    found["a shop's weight"] = replace(sheet, shop=Shop(weights=(ShopWeight(story="bridge", factor=0.01),)))
    hurt = ExposureOdds(exposure="plugged_live", lines=9, odds={"short": 0.4, "low": 0.3, "expected": 0.3})
    found["what a shop's lines read after a voltage"] = replace(sheet, shop=Shop(exposures=(hurt,)))
    found["how often a shop's touches fail"] = replace(sheet, shop=Shop(touch_fails_wide=0.2, learnt_touches=90))
    found["no references"] = replace(sheet, reference_boards=(), known_good_readings=())
    found["three references"] = replace(sheet, known_good_readings=sheet.known_good_readings[:102])
    first = sheet.reference_boards[0]
    aside = replace(first, set_aside_why="read with the module plugged in")
    found["one reference set aside"] = replace(sheet, reference_boards=(aside, *sheet.reference_boards[1:]))
    found["a reading of this job taken back"] = replace(sheet, removed_ids=(sheet.readings[8].id,))
    found["a known-good reading taken back"] = replace(sheet, removed_ids=(sheet.known_good_readings[8].id,))
    fix = ContactCorrection(
        id="f", board_version_id=T10.id, socket="J7", contact="9", role="strap", made_at_ms=1_745_000_000_000
    )
    found["a corrected role"] = replace(sheet, corrections=(fix,))
    found["a correction taken back"] = replace(sheet, corrections=(fix,), removed_ids=(fix.id,))
    socket = replace(T10.sockets[0], kind="usb_c")
    found["another board"] = replace(sheet, board=replace(T10, sockets=(socket,)))
    found["nothing read"] = replace(sheet, readings=())
    found["after the repair"] = replace(sheet, stage="after_repair")
    found["reference meter without a sheet"] = replace(sheet, meters=(BENCH_METER,))
    for what, open_circuit_mv in (("can show", 300.0), ("puts on its leads", 9000.0)):
        meters = tuple(replace(one, open_circuit_mv=open_circuit_mv) for one in sheet.meters)
        found[f"what every meter {what}"] = replace(sheet, meters=meters)
    return found


def forget() -> None:
    """Nothing is kept from before."""
    prepared._MEMO.clear()
    known_boards._MEMO.clear()


def cold(sheet: BenchSheet) -> bytes:
    """The answer with nothing kept from before."""
    forget()
    return opinion_json(msgspec.json.encode(sheet))


def test_sheets_of_one_board_asked_in_any_order_get_what_each_gets_alone() -> None:
    sheets = variants()
    alone = {name: cold(sheet) for name, sheet in sheets.items()}
    assert len(set(alone.values())) == len(alone), "two variants are not told apart"
    order = list(sheets) * 2
    random.Random(7).shuffle(order)
    forget()
    for name in order:
        assert opinion_json(msgspec.json.encode(sheets[name])) == alone[name], name


def test_a_sheet_that_grows_by_a_reading_gets_what_the_whole_gets_at_once() -> None:
    sheet = base()
    growing = [replace(sheet, readings=sheet.readings[:count]) for count in range(0, 35, 5)]
    forget()
    warm = [opinion_json(msgspec.json.encode(one)) for one in growing]
    assert warm == [cold(one) for one in growing]


def test_healthy_boards_are_carried_once_for_all_jobs_that_are_compared_with_them(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    carried: list[Conditions] = []

    def noted(known: Prepared, meters: dict[str, Meter], at: Conditions) -> KnownBands:
        carried.append(at)
        return made(known, meters, at)

    made = session._make_known_bands
    monkeypatch.setattr(session, "_make_known_bands", noted)
    sheets = variants()
    forget()
    of_the_job = ("other intake", "a shop's weight", "a reading of this job taken back", "after the repair")
    for name in ("base", *of_the_job):
        opinion_json(msgspec.json.encode(sheets[name]))
    assert len(carried) == 1
    of_the_boards = ("a known-good reading taken back", "a corrected role", "one reference set aside", "another board")
    for count, name in enumerate(of_the_boards):
        opinion_json(msgspec.json.encode(sheets[name]))
        assert len(carried) == 2 + count, name


def test_stories_are_told_once_while_nothing_is_said_that_they_rest_on() -> None:
    sheets = variants()
    forget()
    told = prepare(sheets["base"])
    for name in ("a reading of this job taken back", "nothing read", "after the repair"):
        assert prepare(sheets[name]) is told, name
    for name in ("other intake", "how often a shop's touches fail", "a known-good reading taken back"):
        assert prepare(sheets[name]) is not told, name


def test_the_memo_forgets_the_oldest_and_still_answers_the_same() -> None:
    first = random_sheet(0)
    before = cold(first)
    for seed in range(1, MEMO_SIZE + 3):
        opinion_json(msgspec.json.encode(random_sheet(seed)))
    assert len(prepared._MEMO) == len(known_boards._MEMO) == MEMO_SIZE
    assert opinion_json(msgspec.json.encode(first)) == before


def test_the_digest_is_of_what_counts_and_not_of_order_clock_or_name() -> None:
    sheets = variants()
    digests = {name: sheet_digest(sheet) for name, sheet in sheets.items()}
    assert len(set(digests.values())) == len(digests)
    sheet = sheets["base"]
    assert sheet_digest(replace(sheet, readings=sheet.readings[::-1], meters=sheet.meters[::-1])) == digests["base"]
    assert sheet_digest(replace(sheet, sheet_id="other", asked_at_ms=0)) == digests["base"]


@pytest.fixture(scope="module")
def phone() -> Iterator[PyodideNode]:
    """The phone's Python, started once."""
    with PyodideNode() as running:
        yield running


def test_the_phone_refuses_in_the_same_words(phone: PyodideNode) -> None:
    sheet = base()
    doubled = replace(T10.sockets[0], contacts=(*T10.sockets[0].contacts, T10.sockets[0].contacts[0]))
    raw = msgspec.to_builtins(sheet)
    raw["readings"][3]["colour"] = "red"
    refused = [
        msgspec.json.encode(replace(sheet, socket="J9")),
        msgspec.json.encode(replace(sheet, board=replace(T10, sockets=(doubled,)))),
        msgspec.json.encode(raw),
        b"{",
        b"[" * 50_000,
    ]
    for text in refused:
        with pytest.raises((SheetError, msgspec.DecodeError)) as here:
            opinion_json(text)
        with pytest.raises(PhoneError) as there:
            phone.opinion(text)
        assert str(here.value) in str(there.value), text[:60]


def test_the_phone_answers_these_variants_with_the_same_bytes(phone: PyodideNode) -> None:
    for name, sheet in variants().items():
        text = msgspec.json.encode(sheet)
        assert phone.opinion(text) == opinion_json(text), name


def test_both_pythons_run_the_same_msgspec(phone: PyodideNode) -> None:
    assert phone.msgspec_version == msgspec.__version__
