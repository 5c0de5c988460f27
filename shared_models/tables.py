"""Data that both sides hold: make-safe steps, roles, keypad grammar, and the words of each choice.

The build writes `all_tables()` as JSON for the phone, so the phone needs no engine to hold the
make-safe gate or to take a number. Physical constants are not here (`server/engine/constants/`).

Origins: the limit of 1 V before plugging and 10 mV for an honest reading are common practice, no
source; 60 V d.c. for the body is the ES1 limit of IEC 62368-1 table 4, read second-hand.
"""

from typing import Any, Literal

from msgspec import NODEFAULT, Struct, to_builtins
from msgspec.structs import fields

from shared_models.base import BODY_V, Model
from shared_models.board import PartKind, Role
from shared_models.choice import Choice, choices
from shared_models.closing import ShopFigures
from shared_models.closing_words import CLOSING, ClosingTables
from shared_models.decision_tables import (
    DATA_SET,
    OPTIONS,
    POWER_CHECKS,
    STOP_LINES,
    STORAGE,
    PowerCheckRow,
    StopRow,
)
from shared_models.hand_back import HAND_BACK, HandBackTables
from shared_models.job import Intake, Job
from shared_models.reading import Meter


class MakeSafeStep(Model, frozen=True, kw_only=True):
    """One step of making safe.

    `proved_by` "meter" needs `abs(measured_mv) <= limit_mv` at a named place; "hand" needs `done`.
    Only a `required` step holds the gate; a step applies when `for_roles` is empty or the socket has
    a contact of one of these roles. `waivable` says whether "this device has no such thing" is accepted.
    """

    id: str
    title: str
    detail: str
    proved_by: Literal["hand", "meter"]
    required: bool
    waivable: bool
    limit_mv: float | None = None
    for_roles: tuple[Role, ...] = ()
    waive_example: str = ""


PLUGGING_LIMIT_MV = 1000.0
HONEST_READING_LIMIT_MV = 10.0
BODY_LIMIT_MV = 60_000.0
BOARD_FILE_MAX_BYTES = 64_000_000
"""A longer board file is refused unread. The largest public board seen is 7 MB; 30 MB still has room here."""
DIODE_MODE_MAX_MV = 4000.0
"""A meter that puts more on its leads in diode mode never goes on a board's socket. Common practice, no source."""
DIODE_MODE_WHY = (
    "above 4 V it drives current into inputs made for less. Not on a board's socket: LEDs and bench diodes only."
)

MAKE_SAFE_STEPS: tuple[MakeSafeStep, ...] = (
    MakeSafeStep(
        id="cables_out",
        title="Charger and cables out",
        detail="all of them, also the dock",
        proved_by="hand",
        required=True,
        waivable=False,
    ),
    MakeSafeStep(
        id="battery_off",
        title="Battery disconnected",
        detail="lift the plug straight up; cover it",
        proved_by="hand",
        required=True,
        waivable=True,
        waive_example="no battery fitted",
    ),
    MakeSafeStep(
        id="strap_on",
        title="Strap on, board on the mat",
        detail="a dry winter counts double",
        proved_by="hand",
        required=False,
        waivable=True,
        waive_example="no strap on site",
    ),
    MakeSafeStep(
        id="button_held",
        title="Power button held 10 s",
        detail="helps, proves nothing",
        proved_by="hand",
        required=False,
        waivable=True,
        waive_example="no button on this device",
    ),
    MakeSafeStep(
        id="main_rail_proved",
        title="Main rail",
        detail="measured, under 1 V",
        proved_by="meter",
        required=True,
        waivable=False,
        limit_mv=PLUGGING_LIMIT_MV,
    ),
    MakeSafeStep(
        id="led_capacitor_proved",
        title="LED capacitor",
        detail="measured, under 1 V to unplug",
        proved_by="meter",
        required=True,
        waivable=False,
        limit_mv=PLUGGING_LIMIT_MV,
        for_roles=("led_plus",),
    ),
)


class RoleRow(Model, frozen=True, kw_only=True):
    """What a technician should know about a role before touching it.

    `healthy_ol`: a healthy contact of this role shows OL in diode mode. `shows_open`: whether an
    open behind it can be seen in a drop ("climb": only by a climb that is missing).
    `climbs`: a healthy one climbs while it is held. `is_rail`: contacts of one net share one state.
    """

    id: Role
    words: str
    healthy_ol: bool = False
    shows_open: Literal["yes", "climb", "ohms", "no"] = "yes"
    climbs: bool = False
    is_rail: bool = False


ROLES: tuple[RoleRow, ...] = (
    RoleRow(id="ground", words="ground", is_rail=False),
    RoleRow(id="main_rail", words="main rail", shows_open="climb", climbs=True, is_rail=True),
    RoleRow(id="rail_5v", words="5 V rail", shows_open="climb", climbs=True, is_rail=True),
    RoleRow(id="panel_supply", words="panel supply", climbs=True, is_rail=True),
    RoleRow(id="io_rail", words="IO rail", shows_open="climb", climbs=True, is_rail=True),
    RoleRow(id="memory_rail", words="memory rail", shows_open="ohms", climbs=True, is_rail=True),
    RoleRow(id="core_rail", words="core rail", shows_open="no", is_rail=True),
    RoleRow(id="core_rail_large", words="core rail of a large chip", shows_open="no", is_rail=True),
    RoleRow(id="lane", words="lane, direct"),
    RoleRow(id="lane_lvds", words="LVDS lane"),
    RoleRow(id="lane_coupled", words="lane behind a capacitor", healthy_ol=True, shows_open="no"),
    RoleRow(id="aux_coupled", words="AUX behind a capacitor", healthy_ol=True, shows_open="ohms"),
    RoleRow(id="usb_pair", words="USB 2 pair"),
    RoleRow(id="bus", words="bus line"),
    RoleRow(id="control", words="control line"),
    RoleRow(id="hot_plug_detect", words="hot-plug detect", shows_open="yes"),
    RoleRow(id="pwm", words="PWM"),
    RoleRow(id="led_plus", words="LED+", climbs=True, is_rail=True),
    RoleRow(id="led_minus", words="LED-, sink"),
    RoleRow(id="strap", words="strap or thermistor", healthy_ol=True, shows_open="ohms"),
    RoleRow(id="unconnected", words="not connected", healthy_ol=True, shows_open="no"),
    RoleRow(id="unknown", words="not known", shows_open="no"),
)

ROLE_BY_ID: dict[str, RoleRow] = {row.id: row for row in ROLES}


class KeypadKey(Model, frozen=True, kw_only=True):
    """One key: what it says, what it does, and the keys of a number pad or pedal that press it."""

    id: str
    label: str
    does: Literal[
        "digit", "take_ol", "take_zero_or_digit", "climbs", "undo", "out_of_reach", "other_lead", "stop", "take"
    ]
    spoken: str
    keys: tuple[str, ...] = ()
    digit: str = ""


class Keypad(Model, frozen=True, kw_only=True):
    """How numbers are taken: `commits_at_digits` digits commit by themselves; a held first digit of
    `long_from` (or the key `long_key`) starts a number of `long_digits` digits."""

    keys: tuple[KeypadKey, ...]
    commits_at_digits: int
    long_digits: int
    long_from: tuple[str, ...]
    long_key: str
    hold_ms: int
    ol_text: str
    out_of_reach_text: str
    unit: str


KEYPAD = Keypad(
    keys=(
        *(KeypadKey(id=f"digit_{d}", label=d, does="digit", spoken=d, keys=(d,), digit=d) for d in "789456123"),
        KeypadKey(id="ol", label="OL", does="take_ol", spoken="over", keys=("/", "o")),
        KeypadKey(id="zero", label="0", does="take_zero_or_digit", spoken="zero", keys=("0",), digit="0"),
        KeypadKey(id="climbs", label="climbs", does="climbs", spoken="climbs", keys=("+", "c")),
        KeypadKey(id="undo", label="undo", does="undo", spoken="undo", keys=("Backspace", "-")),
        KeypadKey(
            id="out_of_reach",
            label="could not reach",
            does="out_of_reach",
            spoken="could not reach",
            keys=("Delete", "x"),
        ),
        KeypadKey(id="other_lead", label="other lead", does="other_lead", spoken="other lead on ground", keys=("l",)),
        KeypadKey(id="stop", label="stop", does="stop", spoken="stop", keys=("Escape",)),
        KeypadKey(id="take", label="take", does="take", spoken="take", keys=("Enter",)),
    ),
    commits_at_digits=3,
    long_digits=4,
    long_from=("1", "2"),
    long_key="*",
    hold_ms=450,
    ol_text="OL",
    out_of_reach_text="out of reach",
    unit="mV",
)


TRAYS = choices(
    {
        "in_hand": "In hand",
        "waiting_for_owner": "Waiting for owner",
        "waiting_for_part": "Waiting for part",
        "ready": "Ready",
        "gone": "Gone",
    }
)

WHAT_HAPPENED = choices(
    {
        "battery_in_during_change": "battery was in during the change",
        "new_module_fitted": "another screen or module was fitted",
        "plug_went_in_crooked": "the plug went in crooked",
        "spark_seen": "a spark was seen",
        "soldered_at_socket": "somebody soldered at the socket",
        "pried_with_metal": "pried with a metal tool",
        "long_screw_in_doubt": "a screw may be too long",
        "liquid": "liquid",
        "dropped": "dropped",
        "never_opened": "never opened before",
    }
)

SYMPTOMS = choices(
    {
        "no_power": "no sign of life",
        "no_picture": "no picture",
        "no_light": "picture but no light",
        "touch_dead": "touch dead",
        "stripes": "stripes",
        "no_charge": "does not charge",
        "other": "something else",
    }
)

DATA_MATTERS = choices({"yes": "data matter", "no": "data do not matter", "not_asked": "not asked yet"})

CONDITIONS = choices(
    {
        "module_plugged": "the module is plugged",
        "other_flexes_plugged": "other flexes are plugged",
        "battery_connected": "the battery is connected",
        "shield_on": "the shield is on",
        "cleaned": "cleaned",
        "warm_from_hot_air": "still warm",
        "wet": "wet",
        "boards_split": "the boards are split",
        "in_chassis": "in its case",
    }
)

JOB_STAGES = choices({"before_repair": "before the repair", "after_repair": "after the repair"})

VERDICTS = choices(
    {
        "expected": "expected",
        "short": "short",
        "low": "low",
        "high": "high",
        "open": "open",
        "unseen": "unseen",
        "unsteady": "unsteady",
        "unread": "unread",
    }
)

CAUTION = (
    "Local codes and licensed practice come first. A swollen or punctured cell: stop, outside, "
    "do not press it, never reconnect it."
)


def _defaults_of(*models: type[Struct]) -> dict[str, dict[str, Any]]:
    """Each Struct's name -> its fields that have a default -> that default, as plain values."""
    return {
        model.__name__: {
            field.name: to_builtins(field.default) for field in fields(model) if field.default is not NODEFAULT
        }
        for model in models
    }


class PartLetters(Model, frozen=True, kw_only=True):
    """The letters a part's name begins with on a board, and the kind of part they speak for."""

    letters: str
    kind: PartKind


_LETTERS: tuple[tuple[str, PartKind], ...] = (
    ("FB", "ferrite"), ("TVS", "esd_array"), ("ESD", "esd_array"), ("RN", "resistor"), ("SW", "switch"),
    ("IC", "chip"), ("R", "resistor"), ("C", "capacitor"), ("F", "fuse"), ("L", "coil"), ("D", "diode"),
    ("U", "chip"), ("S", "switch"),
)  # fmt: skip
PART_LETTERS = tuple(PartLetters(letters=letters, kind=kind) for letters, kind in _LETTERS)
"""Class letters after ASME Y14.44-2008, from memory; FB, TVS and ESD: common practice, no source."""

PART_KINDS = (
    Choice(id="chip", words="chip"),
    Choice(id="resistor", words="resistor"),
    Choice(id="capacitor", words="capacitor"),
    Choice(id="fuse", words="fuse"),
    Choice(id="ferrite", words="ferrite bead"),
    Choice(id="coil", words="coil"),
    Choice(id="diode", words="diode"),
    Choice(id="esd_array", words="ESD array"),
    Choice(id="switch", words="switch"),
    Choice(id="storage", words="storage"),
    Choice(id="other", words="another part"),
)
RAIL_KINDS = (
    Choice(id="main", words="main rail"),
    Choice(id="backlight", words="LED rail"),
    Choice(id="panel", words="panel supply"),
    Choice(id="standby", words="standby rail"),
    Choice(id="io", words="IO rail"),
    Choice(id="core", words="core rail"),
    Choice(id="memory", words="memory rail"),
    Choice(id="ground", words="ground"),
)


class Tables(Struct, frozen=True, kw_only=True):
    """Everything the phone gets as generated JSON.

    `body_v` is the newest body it can read; `defaults` fills the fields that the wire leaves out.
    """

    make_safe_steps: tuple[MakeSafeStep, ...]
    roles: tuple[RoleRow, ...]
    keypad: Keypad
    trays: tuple[Choice, ...]
    what_happened: tuple[Choice, ...]
    symptoms: tuple[Choice, ...]
    data_matters: tuple[Choice, ...]
    conditions: tuple[Choice, ...]
    job_stages: tuple[Choice, ...]
    verdicts: tuple[Choice, ...]
    closing: ClosingTables
    part_letters: tuple[PartLetters, ...]
    part_kinds: tuple[Choice, ...]
    rail_kinds: tuple[Choice, ...]
    power_checks: tuple[PowerCheckRow, ...]
    stop_lines: tuple[StopRow, ...]
    storage: tuple[Choice, ...]
    data_set: tuple[Choice, ...]
    options: tuple[Choice, ...]
    caution: str
    plugging_limit_mv: float
    honest_reading_limit_mv: float
    body_limit_mv: float
    diode_mode_max_mv: float
    diode_mode_why: str
    board_file_max_bytes: int
    hand_back: HandBackTables
    body_v: int
    defaults: dict[str, dict[str, Any]]


def all_tables() -> dict[str, object]:
    """All tables as plain values, ready to be written as JSON by the build."""
    return to_builtins(
        Tables(
            make_safe_steps=MAKE_SAFE_STEPS,
            roles=ROLES,
            keypad=KEYPAD,
            trays=TRAYS,
            what_happened=WHAT_HAPPENED,
            symptoms=SYMPTOMS,
            data_matters=DATA_MATTERS,
            conditions=CONDITIONS,
            job_stages=JOB_STAGES,
            verdicts=VERDICTS,
            closing=CLOSING,
            part_letters=PART_LETTERS,
            part_kinds=PART_KINDS,
            rail_kinds=RAIL_KINDS,
            power_checks=POWER_CHECKS,
            stop_lines=STOP_LINES,
            storage=STORAGE,
            data_set=DATA_SET,
            options=OPTIONS,
            caution=CAUTION,
            plugging_limit_mv=PLUGGING_LIMIT_MV,
            honest_reading_limit_mv=HONEST_READING_LIMIT_MV,
            body_limit_mv=BODY_LIMIT_MV,
            diode_mode_max_mv=DIODE_MODE_MAX_MV,
            diode_mode_why=DIODE_MODE_WHY,
            board_file_max_bytes=BOARD_FILE_MAX_BYTES,
            hand_back=HAND_BACK,
            body_v=BODY_V,
            defaults=_defaults_of(Job, Intake, Meter, ShopFigures),
        )
    )
