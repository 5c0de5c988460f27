"""Seeded random bench sheets, valid as data and as untidy as a bench: for tests of equality and for timing.

    random_sheet(seed)                    any socket, any state of a job, slips of the pen included
    sixty_contact_sheet(seed, read=30)    one socket of 60 contacts with nine reference boards

The same seed gives the same sheet on every Python. The numbers come from `bench_world`, not from the
engine, so nothing here can agree with it by construction; nothing here says what the opinion should be.
"""

import random
from typing import Any, get_args

from msgspec.structs import replace

from shared_models.board import ContactCorrection, ReferenceBoard
from shared_models.chances import OptionKind
from shared_models.closing import OptionFigure, ShopFigures
from shared_models.decision_tables import POWER_CHECKS
from shared_models.job import DataMatters, DataSet, Intake, MakeSafeProof, Observation, Storage, Symptom, WhatHappened
from shared_models.power import PowerCheck
from shared_models.reading import AtContact, Meter, OfJob, OfReferenceBoard, Reading
from shared_models.sheet import BenchSheet, ExposureOdds, Shop, ShopWeight
from tests.support.bench_pens import SECOND_MS, Pen, slips_of_the_pen, touch
from tests.support.bench_sockets import PLANS, World
from tests.support.bench_world import Fault, WorldBoard, WorldMeter

START_MS = 1_745_000_000_000


SHOP = Shop(
    weights=(ShopWeight(story="bridge", factor=3.0), ShopWeight(story="chip_damaged", factor=0.37)),
    exposures=(
        ExposureOdds(exposure="hit_hard", lines=7, odds={"short": 0.513, "low": 0.3, "expected": 0.187}),
        ExposureOdds(
            exposure="plugged_live", lines=3, odds={"short": 0.11, "low": 0.28, "expected": 0.57, "upper": 0.04}
        ),
    ),
    touch_fails_wide=0.0237, touch_fails_fine=0.0513, learnt_jobs=31, learnt_touches=940,
)
"""A shop that has learnt something of everything."""


def random_sheet(seed: int) -> BenchSheet:
    """A valid sheet of a random job at a random moment. Permitted untidiness included."""
    rng = random.Random(seed)
    plan = PLANS[seed % len(PLANS)]
    world = World(rng, plan, rng.randint(plan.smallest, plan.largest))
    meters = _meters(rng, rng.randint(1, 3))
    references, known = _known_good(world, meters, rng.choice((0, 0, 1, 2, 4, 9)))
    meter, sheet_meter = rng.choice(meters)
    celsius = rng.uniform(-5, 40)
    board = world.board()
    _break(rng, world, board)
    pen = Pen("job", OfJob(job_id="job-1"), START_MS)
    readings = _job_readings(
        world, board, pen, meter, sheet_meter, celsius, share=rng.choice((0.0, 0.1, 0.5, 0.9, 1.0))
    )
    readings += slips_of_the_pen(rng, world, pen, sheet_meter, readings)
    rng.shuffle(readings)
    air_c = rng.choice((None, round(celsius, 1), round(celsius, 1), 23.0))
    return BenchSheet(
        sheet_id=f"random-{seed}",
        asked_at_ms=pen.now_ms,
        board=world.version,
        socket="J1",
        meters=tuple(told for _, told in meters),
        reference_boards=references,
        known_good_readings=known,
        readings=tuple(readings),
        removed_ids=tuple(one.id for one in readings if rng.random() < 0.02),
        observations=_observations(rng, world),
        make_safe=_make_safe(rng),
        corrections=_corrections(rng, world),
        intake=_intake(rng),
        air_c=air_c,
        meter_id=sheet_meter.id if rng.random() < 0.8 else None,
        mode=rng.choice(("guided", "sweep")),
        shop=rng.choice((None, None, SHOP)),
        storage=rng.choice(get_args(Storage)),
        data_set=rng.choice(get_args(DataSet)),
        limit_cost=rng.choice((None, 140.0)),
        limit_work_min=rng.choice((None, 90.0, 1.0)),
        figures=rng.choice((None, _figures(rng))),
        power_checks=_power_checks(rng, pen.now_ms),
    )


def _figures(rng: random.Random) -> ShopFigures:
    kinds = rng.sample(get_args(OptionKind), 4)
    rows = tuple(
        OptionFigure(option=kind, parts_cost=rng.choice((None, 0.0, 12.5)), work_h=rng.choice((None, 0.0, 1.25)))
        for kind in kinds
    )
    return ShopFigures(id="shop", currency="crowns", hour_cost=rng.choice((None, 0.0, 60.0)), options=rows)


def _power_checks(rng: random.Random, now_ms: int) -> tuple[PowerCheck, ...]:
    return tuple(
        PowerCheck(
            id=f"check-{n}", job_id="job-1", check=row.id, done=rng.random() < 0.9, checked_at_ms=now_ms + n,
            limit_ma=rng.choice((None, 100.0, 300.0)), expected_ma=rng.choice((None, 120.0)),
            supply_mv=rng.choice((None, 4000.0)), who=rng.choice(("", "Ines")), note=rng.choice(("", "U1 itself")),
        )
        for n, row in enumerate(POWER_CHECKS)
        if rng.random() < 0.7
    )  # fmt: skip


def sixty_contact_sheet(seed: int, read: int = 30) -> BenchSheet:
    """`sized_sheet` of 60 contacts."""
    return sized_sheet(seed, 60, read)


def sized_sheet(seed: int, contacts: int, read: int, references: int = 9) -> BenchSheet:
    """An open header with known-good boards and `read` of its contacts read, one of them leaky."""
    rng = random.Random(seed)
    world = World(rng, PLANS[0], contacts)
    meters = _meters(rng, 2)
    boards, known = _known_good(world, meters, references)
    meter, sheet_meter = meters[0]
    board = world.board()
    leaky = next(i for i, role in enumerate(world.roles) if role in ("lane", "control", "bus"))
    board.fault[leaky], board.leak_ohm[leaky] = "leak", 150.0
    pen = Pen("job", OfJob(job_id="job-1"), START_MS)
    order = [leaky, *(i for i in range(contacts) if i != leaky)][:read]
    readings = [touch(world, board, pen, i, "red", meter, sheet_meter, 23.0) for i in order]
    return BenchSheet(
        sheet_id=f"sized-{seed}-{contacts}-{read}",
        asked_at_ms=pen.now_ms,
        board=world.version,
        socket="J1",
        meters=tuple(told for _, told in meters),
        reference_boards=boards,
        known_good_readings=known,
        readings=tuple(readings),
        make_safe=_all_safe(),
        intake=Intake(what_happened=("battery_in_during_change", "plug_went_in_crooked")),
        air_c=23.0,
        meter_id=sheet_meter.id,
    )


def one_more_reading(sheet: BenchSheet, as_typed: str = "471") -> BenchSheet:
    """The sheet after one further contact was read."""
    done = {one.touch.contact for one in sheet.readings if isinstance(one.touch, AtContact)}
    contact = next(one for one in sheet.board.sockets[0].contacts if one.number not in done)
    last = sheet.readings[-1]
    at_ms = sheet.asked_at_ms + 6 * SECOND_MS
    added = replace(
        last, id="job-one-more", touch=AtContact(contact=contact.number), as_typed=as_typed, taken_at_ms=at_ms
    )
    return replace(sheet, sheet_id=f"{sheet.sheet_id}-more", asked_at_ms=at_ms, readings=(*sheet.readings, added))


def _meters(rng: random.Random, count: int) -> list[tuple[WorldMeter, Meter]]:
    meters = []
    for i in range(count):
        current = 2 ** rng.uniform(-2.3, 1)
        true = WorldMeter(f"meter-{i}", current, rng.choice((1500.0, 2000.0, 3000.0)))
        known = rng.random() < 0.7
        unit: Any = rng.choice(("mV", "mV", "V"))
        told = Meter(
            id=true.id,
            name=f"meter {i}",
            display_unit=unit,
            test_current_ma=round(current * rng.gauss(1, 0.02), 3) if known else None,
            test_current_sd_pct=2.0 if known else None,
            open_circuit_mv=true.open_circuit_mv if rng.random() < 0.7 else None,
            lead_ohm=0.3 if rng.random() < 0.5 else None,
        )
        meters.append((true, told))
    return meters


def _known_good(
    world: World, meters: list[tuple[WorldMeter, Meter]], count: int
) -> tuple[tuple[ReferenceBoard, ...], tuple[Reading, ...]]:
    rng = world.rng
    boards, readings = [], []
    for n in range(count):
        celsius = rng.uniform(10, 30)
        board = world.board()
        if rng.random() < 0.1:
            i = rng.randrange(len(world.roles))
            board.fault[i], board.leak_ohm[i] = "leak", 120.0
        why = "read with the module plugged in" if rng.random() < 0.05 else None
        boards.append(
            ReferenceBoard(
                id=f"ref-{n}",
                board_version_id="board-v1",
                read_at_ms=START_MS - 86_400_000,
                air_c=round(celsius, 1),
                set_aside_why=why,
            )
        )
        pen = Pen(f"ref-{n}", OfReferenceBoard(reference_board_id=f"ref-{n}"), START_MS - 86_400_000)
        meter, told = rng.choice(meters)
        for i in range(len(world.roles)):
            readings.append(touch(world, board, pen, i, "red", meter, told, celsius, stage="on_healthy_board"))
            if rng.random() < 0.15:
                readings.append(touch(world, board, pen, i, "black", meter, told, celsius, stage="on_healthy_board"))
    return tuple(boards), tuple(readings)


def _break(rng: random.Random, world: World, board: WorldBoard) -> None:
    """Nothing, one contact, a chip's contacts, or a whole rail."""
    size = len(world.roles)
    signals = [i for i, role in enumerate(world.roles) if role not in ("ground", "unconnected")]
    if not signals:
        return
    what = rng.choice(("nothing", "contact", "contact", "chip", "rail", "two"))
    faults: list[Fault] = ["short", "leak", "open", "raised"]

    def hurt(i: int, fault: Fault) -> None:
        board.fault[i], board.leak_ohm[i] = fault, 2 ** rng.uniform(3, 12)

    if what in ("contact", "two"):
        for i in rng.sample(signals, min(len(signals), 1 + (what == "two"))):
            hurt(i, rng.choice(faults))
    elif what == "chip":
        chip = world.chips[rng.choice(signals)]
        for i in signals:
            if world.chips[i] == chip and rng.random() < 0.4:
                hurt(i, "leak")
    elif what == "rail":
        net = world.nets[rng.choice(signals)]
        for i in range(size):
            if net and world.nets[i] == net:
                hurt(i, "short")


def _job_readings(
    world: World, board: WorldBoard, pen: Pen, meter: WorldMeter, told: Meter, celsius: float, share: float
) -> list[Reading]:
    rng = world.rng
    order = list(range(len(world.roles)))
    if rng.random() < 0.5:
        rng.shuffle(order)
    readings = []
    for i in order[: round(share * len(order))]:
        readings.append(touch(world, board, pen, i, "red", meter, told, celsius))
        if rng.random() < 0.1:
            readings.append(touch(world, board, pen, i, "red", meter, told, celsius))
        if rng.random() < 0.1:
            readings.append(touch(world, board, pen, i, "black", meter, told, celsius))
        if rng.random() < 0.05:
            readings.append(
                touch(world, board, pen, i, "red", meter, told, celsius, place=rng.choice(("tail", "pad", "part_far")))
            )
    return readings


def _observations(rng: random.Random, world: World) -> tuple[Observation, ...]:
    rows = []
    for n in range(rng.choice((0, 0, 1, 2))):
        seen: Any = rng.choice(
            (
                "bent",
                "burnt",
                "lifted",
                "wet",
                "bridged",
                "missing",
                "clean",
                "changes_when_pressed",
                "hot",
                "torch_shows_picture",
            )
        )
        subject: Any = rng.choice(("board_socket", "module_plug"))
        rows.append(
            Observation(
                id=f"obs-{n}",
                of=OfJob(job_id="job-1"),
                seen=seen,
                subject=subject,
                contacts=(rng.choice(world.numbers),),
                seen_at_ms=START_MS + n,
            )
        )
    return tuple(rows)


def _all_safe() -> tuple[MakeSafeProof, ...]:
    by_hand = [
        MakeSafeProof(id=f"safe-{step}", job_id="job-1", step=step, done=True, proved_at_ms=START_MS)
        for step in ("cables_out", "battery_off", "strap_on", "button_held")
    ]
    by_meter = [
        MakeSafeProof(
            id=f"safe-{step}", job_id="job-1", step=step, measured_mv=4.0, at_place=place, proved_at_ms=START_MS
        )
        for step, place in (("main_rail_proved", "C1"), ("led_capacitor_proved", "C2"))
    ]
    return (*by_hand, *by_meter)


def _make_safe(rng: random.Random) -> tuple[MakeSafeProof, ...]:
    if rng.random() < 0.5:
        return _all_safe()
    return tuple(
        replace(proof, measured_mv=rng.choice((4.0, 850.0, 21_800.0)) if proof.measured_mv is not None else None)
        for proof in _all_safe()
        if rng.random() < 0.7
    )


def _corrections(rng: random.Random, world: World) -> tuple[ContactCorrection, ...]:
    if rng.random() < 0.7:
        return ()
    role: Any = rng.choice(("control", "unconnected", "bus"))
    return (
        ContactCorrection(
            id="fix-1",
            board_version_id="board-v1",
            socket="J1",
            contact=rng.choice(world.numbers),
            role=role,
            made_at_ms=START_MS,
        ),
    )


def _intake(rng: random.Random) -> Intake:
    happened = tuple(rng.sample(get_args(WhatHappened), rng.choice((0, 0, 1, 2))))
    symptoms = tuple(rng.sample(get_args(Symptom), rng.choice((0, 1))))
    return Intake(what_happened=happened, symptoms=symptoms, data_matters=rng.choice(get_args(DataMatters)))
