"""What a way of going on reaches of what is wrong: alone all of it, a part of it beside other ways, or nothing.

Also runs on the phone.
"""

from server.engine.accepted_board import Board
from server.engine.chances import Weighed
from server.engine.constants.chances import SHARES
from server.engine.mends import DATA_CLASSES, Branch, Fault
from shared_models.chances import OptionKind

MENDING: tuple[OptionKind, ...] = ("reseat_or_clean", "other_module", "replace_part", "replace_socket")
MEANT = 0.5
"""A fault of whose class a way reaches this share is what that way is for."""
MEANT_FOR = {
    kind: {fault: share for fault, share in shares.items() if share >= MEANT and fault not in DATA_CLASSES}
    for kind, shares in SHARES.items()
}
"""By way the classes of faults it is for, with the share it reaches; never those in the chips of the data."""


def mended_by(branches: list[Branch], weighed: Weighed, kind: str) -> float:
    """That this alone brings the device back: it reaches and mends every fault; chips of the data are left."""
    shares, total = SHARES[kind], 0.0
    for one in branches:
        chance = one.weight * weighed.harmed.mean
        reached = False
        for fault in one.faults:
            own = fault.kind in DATA_CLASSES
            share = 1.0 if own else shares.get(fault.kind, 0.0)
            reached = reached or (not own and share > 0)
            chance *= share * weighed.known[fault.kind]["left" if own else "mended"].mean
        total += chance if reached else 0.0
    return total


def does_its_part(branches: list[Branch], weighed: Weighed, kind: str) -> float:
    """That it mends all that it is for, whatever other ways must do beside it."""
    shares, total = MEANT_FOR[kind], 0.0
    for one in branches:
        chance = one.weight * weighed.harmed.mean
        meant = False
        for fault in one.faults:
            if fault.kind in shares:
                meant = True
                chance *= shares[fault.kind] * weighed.known[fault.kind]["mended"].mean
        total += chance if meant else 0.0
    return total


def beside(branches: list[Branch], kind: str) -> tuple[OptionKind, ...]:
    """The ways that are needed as well: none where this one reaches all of what is likeliest, or nothing of it."""
    faults = [fault for fault in branches[0].faults if not is_own(fault)]
    if not any(_is_for(kind, fault) for fault in faults):
        return ()
    rest = [fault for fault in faults if not _is_for(kind, fault)]
    return tuple(other for other in MENDING if any(other == _meant_for(fault) for fault in rest))


def about(board: Board, branches: list[Branch], kind: str) -> tuple[tuple[str, ...], tuple[str, ...], tuple[str, ...]]:
    """Parts, shorted rails, and contacts of the likeliest faults that this way is for."""
    parts: list[str] = []
    rails: list[str] = []
    numbers: list[str] = []
    for fault in branches[0].faults:
        if not _is_for(kind, fault):
            continue
        if fault.part in board.parts:
            parts.append(fault.part)
        elif fault.kind == "rail" and fault.part:
            rails.append(fault.part)
        else:
            numbers.extend(board.contacts[index].number for index in fault.contacts)
    by_number = sorted(set(numbers), key=lambda number: (len(number), number))
    return tuple(dict.fromkeys(parts)), tuple(dict.fromkeys(rails)), tuple(by_number)


def is_own(fault: Fault) -> bool:
    """A fault in the chips of the data: those are left alone."""
    return fault.kind in DATA_CLASSES


def _is_for(kind: str, fault: Fault) -> bool:
    return fault.kind in MEANT_FOR[kind]


def _meant_for(fault: Fault) -> OptionKind | None:
    """The way that reaches most of such faults, and can be undone where two reach as much."""
    best: OptionKind = max(MENDING, key=lambda kind: SHARES[kind].get(fault.kind, 0.0))
    return best if _is_for(best, fault) else None
