"""Chances for the device and for the data: two questions, each a probability with an interval and its reasons.

    P(device)  = sum over what may be wrong of its odds times the product of what mending each fault brings;
                 a chip that guards or holds the data is left as it is, what lies behind its hurt lines is gone
    P(in full) = the same with those lines mended too
    P(data)    = G (R + (1 - R) K): G the data's own chips live, R the rest starts far enough to copy, K the data had
                 without this board (a drive elsewhere, a chip read by itself, the set of chips moved)

Rates are beta distributions of pseudo-jobs (`constants.chances`), with the shop's own closed jobs added. Each power-up
on a low line that nobody has explained took its share. Also runs on the phone.
"""

from typing import NamedTuple

from server.engine.accepted_board import Board
from server.engine.constants.chances import MENDS, POWER_UP_HARM, RESCUES, Rate
from server.engine.data_storage import Storage, storage_of
from server.engine.mends import DATA_CLASSES, Branch, Faults
from server.engine.rates import ONE, Known, Moments, Told, both, else_by, moments, told
from server.engine.rounding import probability
from server.engine.wording_chances import in_tens, rests_on_sentence, why_data, why_device
from shared_models.chances import Chance, Chances, RestsOn
from shared_models.reason import Reason
from shared_models.sheet import BenchSheet


class Weighed(NamedTuple):
    """The mixtures behind the chances, for the options."""

    known: Known
    storage: Storage
    harmed: Moments
    device: Told
    data: Told | None


def weigh(sheet: BenchSheet, board: Board, branches: list[Branch], power_ups: int) -> Weighed:
    """Device and data as mixtures over what may be wrong. `power_ups`: made while a low line was unexplained."""
    known = known_rates(sheet)
    storage = storage_of(sheet, board)
    harmed = ONE
    for _ in range(power_ups):
        harmed = both(harmed, Moments(1 - POWER_UP_HARM, (1 - POWER_UP_HARM) * (1 - POWER_UP_HARM)))
    device = told([(one.weight, both(harmed, _device(known, one.faults))) for one in branches])
    data = None
    if storage.kind != "on_another_board":
        rescue = moments(RESCUES[storage.kind])
        data = told([(one.weight, both(harmed, _data(known, one.faults, rescue))) for one in branches])
    return Weighed(known, storage, harmed, device, data)


def chances_of(
    sheet: BenchSheet, board: Board, branches: list[Branch], weighed: Weighed, reference_boards: int
) -> Chances:
    """The chances as they are shown."""
    kept_back = sorted(
        {index for one in branches for fault in one.faults if fault.kind in DATA_CLASSES for index in fault.contacts}
    )
    full = None
    if _data_hurt(branches) >= 0.5:
        full = told([(one.weight, both(weighed.harmed, _mended(weighed.known, one.faults))) for one in branches])
    past = past_jobs(sheet)
    leading = branches[0]
    why = why_data(board, leading, weighed.storage, weighed.harmed.mean)
    return Chances(
        device=_chance(weighed.device, why_device(board, leading, full is not None, weighed.known)),
        in_full=None if full is None else _chance(full, ()),
        without=tuple(board.contacts[index].number for index in kept_back) if full is not None else (),
        data=None if weighed.data is None else _chance(weighed.data, why),
        storage=weighed.storage.kind,
        storage_told=weighed.storage.told,
        rests_on=RestsOn(
            reference_boards=reference_boards, past_jobs=past, sentence=rests_on_sentence(reference_boards, past)
        ),
    )


def _chance(one: Told, reasons: tuple[Reason, ...]) -> Chance:
    return Chance(
        odds=probability(one.odds), low=probability(one.low), high=probability(one.high),
        in_tens=in_tens(one.odds), reasons=reasons,
    )


def known_rates(sheet: BenchSheet) -> Known:
    """The table's rates with the shop's own closed jobs added as they were."""
    if sheet.shop is None or not sheet.shop.mends:
        return TABLE_RATES
    own: dict[str, tuple[int, int]] = {}
    for past in sorted(sheet.shop.mends, key=lambda one: one.fault):
        worked, failed = own.get(past.fault, (0, 0))
        own[past.fault] = (worked + past.worked_times, failed + past.failed_times)
    return _rates(own)


def _rates(own: dict[str, tuple[int, int]]) -> Known:
    found: Known = {}
    for kind, mend in MENDS.items():
        worked, failed = own.get(kind, (0, 0))
        mended: Rate = (mend.mended[0] + worked, mend.mended[1] + failed)
        found[kind] = {
            "mended": moments(mended),
            "left": moments(mend.left if mend.left is not None else mended),
            "starts": moments(mend.starts),
        }
    return found


TABLE_RATES = _rates({})


def past_jobs(sheet: BenchSheet) -> int:
    """Closed jobs of this shop that stand behind the odds or the rates."""
    if sheet.shop is None:
        return 0
    count = 0
    for past in sheet.shop.mends:
        count += past.worked_times + past.failed_times
    return max(count, sheet.shop.learnt_jobs)


def _data_hurt(branches: list[Branch]) -> float:
    hurt = 0.0
    for one in branches:
        hurt += one.weight if any(fault.kind in DATA_CLASSES for fault in one.faults) else 0.0
    return hurt


def _product(known: Known, faults: Faults, what: str) -> Moments:
    whole = ONE
    for fault in faults:
        whole = both(whole, known[fault.kind][what])
    return whole


def _device(known: Known, faults: Faults) -> Moments:
    """Works again: a chip of the data is left as it is, everything else is mended."""
    return _product(known, faults, "left")


def _mended(known: Known, faults: Faults) -> Moments:
    return _product(known, faults, "mended")


def _data(known: Known, faults: Faults, rescue: Moments) -> Moments:
    own = tuple(fault for fault in faults if fault.kind in DATA_CLASSES)
    rest = tuple(fault for fault in faults if fault.kind not in DATA_CLASSES)
    return both(_product(known, own, "starts"), else_by(_product(known, rest, "starts"), rescue))
