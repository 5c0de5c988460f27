"""What a healthy contact reads here, as a distribution: from reference boards, siblings, or the role.

From reference boards: a conjugate Normal-inverse-gamma model (see `student.py`) over readings carried
to this session's meter and temperature, prior spread by role; odd boards are set aside, not averaged
in. Without any: the contact's siblings on this very board (`sibling_bands`), then the role.
OL is often healthy; then the band says so instead of a number. Polarities are never mixed: every
band belongs to one `lead_on_ground`.
"""

import math
from collections.abc import Sequence
from typing import NamedTuple

from server.engine.accepted_board import Board
from server.engine.constants.next_touch import VERDICT_Z_RETOUCH
from server.engine.constants.readings import (
    GAIN_SD,
    GROUND_SD_MV,
    GROUP_MIN,
    GROUP_SD_MV,
    LEAD_NOISE_OHM,
    NET_FOLLOWER_SD_MV,
    NOISE_MV,
    NOISE_PERSON_MV,
    ODD_BOARD_MIN,
    ODD_BOARD_SHARE,
    OL_LIMIT_MARGIN_MV,
    OL_SURPRISE,
    PARTNER_SD_MV,
    REFERENCE_DF,
    REFERENCE_KAPPA,
    ROLE_DF,
)
from server.engine.constants.roles import BLACK_OL, RANGE_TO_SD, ROLE_NUMBERS
from server.engine.constants.sessions import (
    BULK_OHM,
    CHIP_N_SHARE,
    KELVIN,
    REFERENCE_C,
    REFERENCE_CURRENT_MA,
    VT_MV_PER_K,
)
from server.engine.meters import Conditions, carry
from server.engine.over_range import ol_odds_of, touch_fails
from server.engine.reference_cells import ReferenceCell
from server.engine.robust import median
from server.engine.roles import (
    PLAIN_PATH,
    Path,
    healthy_ol,
    leans_with,
    path_under,
    sibling_groups,
    sibling_key,
    spreads_of,
)
from server.engine.straighten import Line
from server.engine.student import NigPrior, StudentT, odd_ones_out, predictive, update
from shared_models.reading import LeadOnGround
from shared_models.tables import ROLE_BY_ID


class Healthy(NamedTuple):
    """The healthy distribution of one contact, one lead: Student t (loc, scale, df) in mV, or OL.

    `ol_odds` is the probability that a healthy one shows OL. `carried_mv` is how far the centre was
    moved to this meter and temperature; `climb_odds` how often a healthy one climbs. `path` is the circuit
    behind the contact, as its own path or role says and as healthy boards read at several currents correct it.
    `lean_mv` is how far this board's group of lines may lean together beside its chip, `shared_mv` the part of it that
    carrying adds, `die_mv` how far the contact may lean with its whole chip.
    `shares` and `cut_mv` are what the circuit of a line that branches says (`branches`).
    """

    rests_on: str
    loc: float
    scale: float
    df: float
    ol_odds: float
    carried_mv: float
    climb_odds: float
    boards: int = 0
    odd_boards: tuple[str, ...] = ()
    net_sd: float = NET_FOLLOWER_SD_MV
    siblings: tuple[str, ...] = ()
    path: Path | None = None
    shared_mv: float = 0.0
    lean_mv: float = 0.0
    die_mv: float = 0.0
    shares: tuple[tuple[float, float], ...] = ()
    cut_mv: float | None = None


class Beside(NamedTuple):
    """What siblings of a contact read, and how far a contact strays from it, one deviation (mV)."""

    loc: float
    sd: float


def carry_sd(path: Path | None, log_ratio: float, step_ma: float, air_c: float) -> float:
    """How well a carried reading is known: the spread of n over the change of current, and of the series part."""
    if path is None:
        return 0.0
    ideality_sd = math.hypot(path.ideality_sd, CHIP_N_SHARE * path.shared_ideality_sd)
    by_n = ideality_sd * VT_MV_PER_K * (KELVIN + air_c) * log_ratio
    by_series = path.series_sd_ohm * step_ma
    return math.hypot(by_n, by_series)


def noise_sd(drop_mv: float, current_ma: float, same_meter: bool) -> float:
    """One reading's own scatter: the hand, the leads, the meter's gain."""
    hand = NOISE_MV if same_meter else NOISE_PERSON_MV
    return math.sqrt(
        hand * hand
        + (LEAD_NOISE_OHM * current_ma) * (LEAD_NOISE_OHM * current_ma)
        + (GAIN_SD * drop_mv) * (GAIN_SD * drop_mv)
    )


def from_references(
    board: Board,
    contact: int,
    lead: LeadOnGround,
    cell: ReferenceCell,
    line: Line | None,
    to: Conditions,
    beside: Sequence[Beside] = (),
) -> Healthy:
    """The band of a contact from its reference boards, each already freed of what it has in common with itself.

    The band holds what the contact strays by alone; what its chip, the meter and the air do to all of its
    neighbours too is the session's (`views`). Each reference reading carries its own scatter of
    hand and meter into the spread; only what this meter adds beyond that is added again. `beside`: what its siblings
    read on the same boards, for which they are worth a board or two.
    """
    total = len(cell.values) + cell.over_range
    fails = touch_fails(board.socket.pitch_mm, None)  # those boards were read by hands that may be another shop's
    ol_odds = ol_odds_of(cell.over_range, total, by_role=healthy_ol(board.contacts[contact]), fails=fails)
    climb = (
        (cell.climbs + 0.5) / (cell.noted + 1)
        if cell.noted
        else (1.0 if ROLE_BY_ID[board.contacts[contact].role].climbs else 0.0)
    )
    if not cell.values:
        base = role_band(board, contact, lead, to)
        return Healthy("reference_boards", base.loc, base.scale, base.df, ol_odds, 0.0, climb, total, path=base.path)
    middle = sorted(cell.values)[len(cell.values) // 2]
    own, _ = spreads_of(board.contacts[contact], lead)
    hand = noise_sd(middle, mean_current_ma(cell, to), cell.same_meter > 0.5)
    spread = math.hypot(GROUND_SD_MV if board.contacts[contact].role == "ground" else own, hand)
    path = None if line is None else line.path
    line = line or Line(cell.values, PLAIN_PATH, 0.0, 0.0)  # where nothing conducts nothing moves with the meter
    # what a group of lines shares is the session's to find; a contact that stands alone keeps it in its band
    alone = not leans_with(board.contacts[contact])
    all_values, carry_doubt = line.values, math.hypot(line.doubt_mv, line.shared_mv) if alone else line.doubt_mv
    middle = sorted(all_values)[len(all_values) // 2]
    prior = NigPrior(mean=middle, kappa=REFERENCE_KAPPA, df=REFERENCE_DF, scale=spread)
    kept, odd = list(range(len(all_values))), []
    if len(all_values) >= ODD_BOARD_MIN and _looks_odd(all_values, middle, spread):
        odd = odd_ones_out(prior, all_values, ODD_BOARD_SHARE)
        kept = [index for index in kept if index not in odd]
    values = [all_values[index] for index in kept]
    told = predictive(_beside_siblings(update(prior, values), spread, beside))
    here = noise_sd(told.loc, to.current_ma, cell.same_meter > 0.5)
    scale = math.sqrt(told.scale * told.scale + carry_doubt * carry_doubt + max(0.0, here * here - hand * hand))
    return Healthy(
        "reference_boards",
        told.loc,
        scale,
        told.df,
        ol_odds,
        cell.moved_mv,
        climb,
        total,
        tuple(cell.boards[index] for index in odd),
        path=path,
        shared_mv=line.shared_mv,
    )


def _beside_siblings(told: NigPrior, spread: float, beside: Sequence[Beside]) -> NigPrior:
    """What boards say of a contact, with what its siblings say of its centre. A contact strays from its siblings by its
    own scatter and by how it is drawn: what is left of `Beside.sd` once the first is taken out says how many boards
    they are worth (Normal mean with a Normal prior: Gelman et al., Bayesian Data Analysis, 3rd edition, section 2.5).
    How far it strays from board to board is its own boards' to say.
    """
    own = spread * spread
    mean, kappa = told.mean * told.kappa, told.kappa
    for one in beside:
        if abs(one.loc - told.mean) < VERDICT_Z_RETOUCH * one.sd:
            worth = own / max(one.sd * one.sd - own, 0.5 * own)
            mean, kappa = mean + worth * one.loc, kappa + worth
    return NigPrior(mean / kappa, kappa, told.df, told.scale)


def apart_sd(is_partner: bool) -> float:
    """How far two lines that should read alike stray from each other, one deviation (mV)."""
    return PARTNER_SD_MV if is_partner else math.sqrt(2) * GROUP_SD_MV


def beside_on_references(board: Board, lines: dict[int, Line]) -> dict[int, list[Beside]]:
    """Of each contact read on healthy boards what its siblings read there, without the contact itself: the middle of
    enough of them, or each of a few; and the other half of its pair.
    """
    middles = {contact: median(line.values) for contact, line in lines.items()}
    groups = sibling_groups(board.contacts)
    told: dict[int, list[Beside]] = {}
    for contact in middles:
        key = sibling_key(board.contacts[contact])
        others = {other: middles[other] for other in groups.get(key or "", []) if other != contact and other in middles}
        partner = board.places.get(board.contacts[contact].pair_with or "")
        if len(others) >= GROUP_MIN:
            beside = [Beside(median(list(others.values())), GROUP_SD_MV)]
        else:
            beside = [Beside(read, apart_sd(False)) for other, read in others.items() if other != partner]
        if partner is not None and partner in others:
            beside.append(Beside(others[partner], apart_sd(True)))
        told[contact] = beside
    return told


def mean_current_ma(cell: ReferenceCell, to: Conditions) -> float:
    """The current the reference readings of a contact were taken at, on average over its logarithm."""
    return to.current_ma * math.exp(-cell.log_ratio)


def _looks_odd(values: list[float], middle: float, spread: float) -> bool:
    return max(abs(value - middle) for value in values) > VERDICT_Z_RETOUCH * spread


def role_band(board: Board, contact: int, lead: LeadOnGround, to: Conditions) -> Healthy:
    """The band of a contact from its role alone, carried to this meter: wide, with heavy tails."""
    one = board.contacts[contact]
    role = ROLE_NUMBERS[one.role]
    row = ROLE_BY_ID[one.role]
    climb = 1.0 if row.climbs else 0.0
    if lead == "black":
        path = path_under(one, lead, board.parts, board.grounds)
        middle = 0.5 * (role.black_low_mv + role.black_high_mv)
        sd = (role.black_high_mv - role.black_low_mv) * RANGE_TO_SD
        loc = carry(middle, path, REFERENCE_CURRENT_MA, REFERENCE_C, to.current_ma, to.air_c)
        carried = carry_sd(
            path, math.log(to.current_ma / REFERENCE_CURRENT_MA), to.current_ma - REFERENCE_CURRENT_MA, to.air_c
        )
        shows_ol = 1 - OL_SURPRISE if healthy_ol(one) else BLACK_OL.get(one.role, OL_SURPRISE)
        scale = max(math.hypot(sd, carried), NOISE_PERSON_MV)
        return Healthy("role", loc, scale, ROLE_DF, shows_ol, loc - middle, climb, path=path)
    path = board.paths[contact]
    series = (path.series_ohm - _role_ohm(one.role)) if path is not None else 0.0
    # a part of the role's own that the board does not mention may be there; where its path is told, it is not
    typical = role.typical_mv + (series if path is not None and path.known else max(series, 0.0)) * REFERENCE_CURRENT_MA
    loc = carry(typical, path, REFERENCE_CURRENT_MA, REFERENCE_C, to.current_ma, to.air_c)
    sd = GROUND_SD_MV if one.role == "ground" else max((role.high_mv - role.low_mv) * RANGE_TO_SD, role.sd_mv)
    return Healthy(
        "role",
        loc,
        math.hypot(sd, noise_sd(loc, to.current_ma, False)),
        ROLE_DF,
        1 - OL_SURPRISE if healthy_ol(one) else OL_SURPRISE,
        loc - typical,
        climb,
        path=path,
    )


def _role_ohm(role: str) -> float:
    return BULK_OHM + ROLE_NUMBERS[role].series_ohm


def with_limit(band: Healthy, open_circuit_mv: float) -> Healthy:
    """The band on a meter whose open-circuit limit is `open_circuit_mv`: what lies above it shows OL."""
    edge = open_circuit_mv - OL_LIMIT_MARGIN_MV
    if band.loc > edge:
        return band._replace(ol_odds=1.0)
    above = 1 - StudentT(band.df, band.loc, band.scale).cdf(edge)
    return band._replace(ol_odds=1 - (1 - band.ol_odds) * (1 - above))
