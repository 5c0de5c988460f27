"""Files that were cut, doubled, spoilt or made up: a board or a sentence with a place, in bounded time, never else."""

import tracemalloc
from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from server.boards.door import OpenBoard
from server.boards.pin_list import columns_from
from server.problems import Refusal
from tests.support.invented_board import ipc356, ipc2581, kicad, pin_list

BY_KICAD = Path(__file__).parents[1] / "vectors" / "boards" / "kicad9_revision_c_mm.xml"
SEEDS = [kicad().encode(), kicad(20171114).encode(), kicad(20260206).encode(), ipc356().encode(), ipc2581(),
    pin_list().encode(), BY_KICAD.read_bytes()]
COLUMNS = columns_from("ref=Part,pin=Pin,net=Net")
PIECES = [b"(", b")", b'"', b"\\", b"\n", b"\0", b"<", b">", b"&", b"-", b"999", b"(net", b"(pad", b"NaN", b"1e999",
    b"\xff", b"#1", b""]


@st.composite
def mutated(draw: st.DrawFn) -> bytes:
    raw = draw(st.sampled_from(SEEDS))
    for _ in range(draw(st.integers(1, 4))):
        at, to = sorted((draw(st.integers(0, len(raw))), draw(st.integers(0, len(raw)))))
        how = draw(st.sampled_from(["cut", "end", "piece", "double", "swap"]))
        if how == "cut":
            raw = raw[:at] + raw[min(to, at + 200) :]
        elif how == "end":
            raw = raw[:to]
        elif how == "piece":
            raw = raw[:at] + draw(st.sampled_from(PIECES)) + raw[at:]
        elif how == "double":
            raw = raw[:to] + raw[at : min(to, at + 2000)] + raw[to:]
        else:
            raw = raw[:at] + bytes([draw(st.integers(0, 255))]) + raw[at + 1 :]
    return raw


def read_or_told(raw: bytes) -> None:
    try:
        board = OpenBoard.of(raw, COLUMNS)
        for socket in board.summary().sockets[:2]:
            board.traced(socket.ref)
    except Refusal as refusal:
        problem = refusal.problem
        assert refusal.status in (404, 413,
            422) and problem.message and problem.where and problem.given and problem.expected


@given(mutated())
@settings(max_examples=300)
def test_a_spoilt_file_is_read_or_told_and_never_anything_else(raw: bytes) -> None:
    read_or_told(raw)


@given(st.binary(max_size=300) | st.text(max_size=300).map(str.encode))
@settings(max_examples=150)
def test_bytes_that_nobody_wrote_are_told(raw: bytes) -> None:
    read_or_told(raw)


@pytest.mark.parametrize("raw", [
    b"(kicad_pcb " + b"(footprint (pad 1 smd (net 1 A)) " * 5000, b"(kicad_pcb " + b'(property "' * 20_000,
    b"<a>" + b"<b/>" * 100_000, b"<a><Profile><Polygon>" + b'<PolyStepSegment x="1" y="1"/>' * 20_000,
    b'<a><Set net="A">' + b'<Pad><PinRef componentRef="A" pin="1"/></Pad>' * 20_000,
    b"P  UNITS CUST 0\n" + b"327" * 100_000, b"a,b,c\n" * 50_000,
])
def test_a_long_file_of_nothing_takes_no_more_memory_than_a_few_times_its_size(raw: bytes) -> None:
    tracemalloc.start()
    read_or_told(raw)
    _, peak = tracemalloc.get_traced_memory()
    tracemalloc.stop()
    assert peak < 40_000_000 + 20 * len(raw)
