"""Small boards and bench sheets written short, for tests of one promise at a time.

    board = board_of([line("1", "ground"), line("2", "lane"), line("3", "lane")])
    sheet = sheet_of(board, job=touched({"2": "338", "3": "OL"}), references=nine_boards({"2": 338, "3": 340}))

Every reading is typed text in mV at one meter unless said otherwise; ids and times count up by themselves.
"""

from collections.abc import Iterable, Mapping, Sequence
from itertools import count
from typing import Any

from msgspec.structs import replace

from shared_models.board import BoardVersion, Contact, ReferenceBoard, Role, Row, Socket
from shared_models.reading import AtContact, Meter, OfJob, OfReferenceBoard, Reading
from shared_models.sheet import BenchSheet

JOB = OfJob(job_id="job")
BENCH_METER = Meter(id="bench", name="bench", test_current_ma=1.0, test_current_sd_pct=2.0, open_circuit_mv=2000.0)
START_MS = 1_745_000_000_000


def line(number: str | int, role: Role, **fields: Any) -> Contact:
    """One contact. Its net is its own number unless said; grounds are one net, unconnected ones have none."""
    nets = {"ground": "GND", "unconnected": None}
    fields.setdefault("net", nets.get(role, f"N{number}"))
    return Contact(number=str(number), role=role, **fields)


def board_of(
    contacts: Sequence[Contact],
    *,
    rows: Sequence[Sequence[str]] | None = None,
    parts: Any = (),
    nets: Any = (),
    **socket: Any,
) -> BoardVersion:
    """A board with one socket J1; one row in the order given unless `rows` says otherwise."""
    lying = rows if rows is not None else [[one.number for one in contacts]]
    socket.setdefault("kind", "other")
    socket.setdefault("pitch_mm", 0.5)
    j1 = Socket(
        ref="J1", rows=tuple(Row(name=f"row {n}", contacts=tuple(row)) for n, row in enumerate(lying)),
        contacts=tuple(contacts), **socket,
    )  # fmt: skip
    return BoardVersion(
        id="board", device="a device", board="a board", sockets=(j1,), parts=tuple(parts), nets=tuple(nets)
    )


def touched(
    drops: Mapping[str, str | float] | Iterable[tuple[str, str | float]],
    *,
    prefix: str = "r",
    of: Any = JOB,
    **fields: Any,
) -> tuple[Reading, ...]:
    """Diode-mode readings at the spring, in the order given. A number is typed as it prints."""
    fields.setdefault("meter_id", BENCH_METER.id)
    start = fields.pop("start_ms", START_MS)
    pairs: Any = drops.items() if isinstance(drops, Mapping) else drops
    numbers = count(1)
    return tuple(
        Reading(
            id=f"{prefix}-{n}", of=of, socket="J1", kind="drop", touch=AtContact(contact=contact),
            as_typed=typed if isinstance(typed, str) else f"{typed:g} mV", display_unit="mV",
            taken_at_ms=start + 6000 * n, **fields,
        )
        for (contact, typed), n in zip(pairs, numbers, strict=False)
    )  # fmt: skip


def at_place(touch: Any, typed: str, *, id: str, kind: Any = "drop", unit: Any = "mV", **fields: Any) -> Reading:
    """One reading anywhere else: across a part, contact to contact, at a rail, at the module's plug."""
    fields.setdefault("meter_id", BENCH_METER.id)
    fields.setdefault("taken_at_ms", START_MS + 1_000_000)
    return Reading(id=id, of=JOB, socket="J1", kind=kind, touch=touch, as_typed=typed, display_unit=unit, **fields)


def references(boards: Sequence[Mapping[str, str | float]], **fields: Any) -> dict[str, Any]:
    """Healthy boards, one mapping of contact to reading each, as fields of a sheet."""
    known: list[Reading] = []
    listed = []
    for n, drops in enumerate(boards, 1):
        name = f"good-{n}"
        listed.append(ReferenceBoard(id=name, board_version_id="board"))
        known += touched(
            drops, prefix=name, of=OfReferenceBoard(reference_board_id=name), stage="on_healthy_board", **fields
        )
    return {"reference_boards": tuple(listed), "known_good_readings": tuple(known)}


def nine_boards(means: Mapping[str, float], spread_mv: float = 4.0, **fields: Any) -> dict[str, Any]:
    """Nine healthy boards around means, each contact's deviations the same evenly spread nine in another order."""
    steps = (-1.5, -1.0, -0.6, -0.3, 0.0, 0.3, 0.6, 1.0, 1.5)
    boards = [
        {
            contact: mean + spread_mv * steps[(4 * place + 2 * n) % 9]
            for place, (contact, mean) in enumerate(means.items())
        }
        for n in range(9)
    ]
    return references(boards, **fields)


def sheet_of(board: BoardVersion, job: Sequence[Reading] = (), **fields: Any) -> BenchSheet:
    """A sheet of that board at 23 °C with the bench meter; `fields` are fields of BenchSheet."""
    known = fields.pop("known", {})
    fields.setdefault("meters", (BENCH_METER,))
    fields.setdefault("air_c", 23.0)
    return BenchSheet(
        sheet_id="sheet",
        asked_at_ms=START_MS + 10_000_000,
        board=board,
        socket="J1",
        readings=tuple(job),
        **known,
        **fields,
    )


def with_readings(sheet: BenchSheet, *more: Reading) -> BenchSheet:
    """The sheet with further readings of the job."""
    return replace(sheet, readings=(*sheet.readings, *more))
