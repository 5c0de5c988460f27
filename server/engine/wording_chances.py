"""Chances to words: in tens, and why, naming contacts, parts and what they rest on."""

import math

from msgspec.structs import replace

from server.engine.accepted_board import Board
from server.engine.constants.chances import HALF_WAY
from server.engine.constants.papers import TENS, TENS_LEAST, TENS_MOST
from server.engine.data_storage import Storage
from server.engine.mends import DATA_CLASSES, Branch, Fault, Faults
from server.engine.rates import Known
from server.engine.roles import chip_of
from server.engine.rounding import plain, probability
from shared_models.reason import Number, Reason


def in_tens(odds: float) -> str:
    """A chance as people say it: never decimals of a percent."""
    if odds > TENS_MOST:
        return "over 19 in 20"
    if odds < TENS_LEAST:
        return "under 1 in 20"
    tens = TENS * odds
    below = math.floor(tens)
    if 0 < below < TENS - 1 and HALF_WAY <= tens - below <= 1 - HALF_WAY:
        return f"{below} to {below + 1} in 10"
    return f"about {min(TENS - 1, max(1, round(tens)))} in 10"


def rests_on_sentence(reference_boards: int, past_jobs: int) -> str:
    """What a chance rests on, in one sentence."""
    boards = f"{reference_boards} healthy board{'' if reference_boards == 1 else 's'}" if reference_boards else (
        "no healthy board, the socket's own lines only"
    )
    jobs = (
        f"{past_jobs} past job{'' if past_jobs == 1 else 's'} of this shop" if past_jobs
        else "general experience, no own figures yet"
    )
    return f"Rests on {boards}; {jobs}."


FAULT_WORDS = {
    "no_fault": "Nothing is wrong at this socket; the rest of the board was not looked at.",
    "module": "The module, its cable or its seat: the board itself is well as far as it was read.",
    "seat": "Solder or a seat{at}: cleaned or reflowed it comes back.",
    "contact": "The contact or the socket{at}: it can be mended.",
    "small_part": "{part} is a small part and can be replaced{at}.",
    "line": "A leak{at} that no part has been named for.",
    "chip": "{part} is hurt{at}; it can be replaced and has nothing to do with the data.",
    "rail": "A short on {part}{at}: where it lies is not known yet.",
    "wet": "Damp or corrosion{at}: how far it reaches is not seen before it is clean.",
    "cracked": "A joint under {part}{at}: the outcome is open.",
    "unread": "The sheet must be read again before more can be said.",
    "data_chip": "{part} is hurt{at}. Without it the data cannot be read: it is left alone, and what hangs on these "
    "lines is lost.",
    "data_store": "{part} holds the data and is hurt{at}.",
    "data_shorted": "A hard short is left inside {part}{at}, which the data need: that road ends here.",
}  # fmt: skip


MODULE_BESIDE = "The module or its cable has a fault of its own as well: both must be mended."


def _at(board: Board, fault: Fault) -> tuple[str, tuple[str, ...]]:
    numbers = tuple(board.contacts[index].number for index in fault.contacts)
    return (f" at {', '.join(numbers)}" if numbers else ""), numbers


def fault_reason(board: Board, fault: Fault, odds: float) -> Reason:
    """One fault: what it is, where it shows, and how often it is mended."""
    at, numbers = _at(board, fault)
    part = fault.part or "A part"
    return Reason(
        code=f"fault_{fault.kind}",
        sentence=FAULT_WORDS[fault.kind].format(at=at, part=part),
        numbers=(Number(name="odds", value=probability(odds)),),
        contacts=numbers,
        parts=(fault.part,) if fault.part in board.parts else (),
    )


def why_device(board: Board, leading: Branch, kept_back: bool, known: Known) -> tuple[Reason, ...]:
    """The faults of what is likeliest, with what mending each brings."""
    what = "left" if kept_back else "mended"
    told = [
        fault_reason(board, fault, math.prod([known[fault.kind][what].mean] * times))
        for fault, times in _as_told(leading.faults)
    ]
    if len(told) > 1:
        told = [replace(one, sentence=MODULE_BESIDE) if one.code == "fault_module" else one for one in told]
    share = Reason(
        code="likeliest",
        sentence=f"Likeliest by the readings so far: {in_tens(leading.weight)}.",
        numbers=(Number(name="odds", value=probability(leading.weight)),),
    )
    return (*told, share)


def _as_told(faults: Faults) -> list[tuple[Fault, int]]:
    """The faults as they are told, and how many each stands for: what has no part of its own is named once."""
    alike: dict[tuple[str, str], list[Fault]] = {}
    for fault in faults:
        # a wet place is called by its corner, and a second one has the same to be said of it
        alike.setdefault((fault.kind, "" if fault.kind == "wet" else fault.part), []).append(fault)
    return [
        (each[0]._replace(contacts=tuple(sorted({index for one in each for index in one.contacts}))), len(each))
        for each in alike.values()
    ]


STORAGE_WORDS = {
    "removable": "The storage comes out and can be read elsewhere, whatever becomes of this board.",
    "soldered": "The storage is soldered: where the board does not start, the chip may still be read by itself.",
    "sealed_to_chip": "The storage is sealed to another chip: where the board does not start, only moving the "
    "whole set of chips helps, with a risk of its own.",
    "not_known": "Nobody has said how the storage sits: it is taken for soldered and sealed. Say it on the job sheet.",
    "on_another_board": "The data are on another board: nothing done here touches them.",
}  # fmt: skip


def storage_reason(storage: Storage) -> Reason:
    """How the data sit, and what that means for them."""
    return Reason(code=f"storage_{storage.kind}", sentence=STORAGE_WORDS[storage.kind])


NOT_AT_ONE_PLACE = ("wet", "line", "cracked")
"""Faults that nobody has put a finger on: what their lines end in may be hurt with them."""


def _lines_into(
    board: Board, leading: Branch, named: list[str]
) -> tuple[tuple[str, ...], tuple[str, ...]] | None:
    """Chips that hold or guard the data and whose lines are among what is wrong, with those contacts."""
    wrong = sorted({index for fault in leading.faults if fault.kind in NOT_AT_ONE_PLACE for index in fault.contacts})
    into = [(chip, index) for index in wrong if (chip := chip_of(board.contacts[index])) in named]
    chips = tuple(sorted({chip for chip, _ in into if chip is not None}))
    return (chips, tuple(board.contacts[index].number for _, index in into)) if chips else None


def why_data(board: Board, leading: Branch, storage: Storage, harmed: float) -> tuple[Reason, ...]:
    """What the data depend on: the chips that hold or guard them, how they sit, power-ups that were made."""
    own = [fault for fault in leading.faults if fault.kind in DATA_CLASSES]
    told = [fault_reason(board, fault, leading.weight) for fault in own]
    named = sorted(part.ref for part in board.version.parts if part.holds_data or part.guards_data)
    if not own and (touched := _lines_into(board, leading, named)):
        chips, numbers = touched
        told.append(
            Reason(
                code="data_lines_touched",
                sentence=f"Lines of {', '.join(chips)}, which the data need, are among what is wrong "
                f"({', '.join(numbers)}): likelier outside it than inside, but nobody has shown that yet.",
                contacts=numbers,
                parts=chips,
            )
        )
    elif not own:
        parts = f" ({', '.join(named)})" if named else ""
        told.append(
            Reason(
                code="data_not_reached",
                sentence=f"Nothing that was read speaks for damage in the chips with the data{parts}.",
                parts=tuple(named),
            )
        )
    else:
        told.append(
            Reason(
                code="copy_first",
                sentence="Copied first, at one start on a limited supply, with a good module and, if need be, a mouse.",
            )
        )
    told.append(storage_reason(storage))
    if not named:
        told.append(
            Reason(
                code="data_parts_not_named", sentence="Which parts hold or guard the data is not said of this board."
            )
        )
    if harmed < 1:
        told.append(
            Reason(
                code="powered_unexplained",
                sentence="It was powered while a low line was not explained: each time can end what is left.",
                numbers=(Number(name="factor", value=plain(harmed)),),
            )
        )
    return tuple(told)
