"""The picture before the work: who meets what, for every way a plug can sit wrong and every state.

Each case is the joined-net question of `overstress` with the rails at what they stand at in that state.
To each line it adds over which limit, through which parts, with what energy at once, what the source then
goes on giving, and how much could flow into the pin's clamp. The three worst come in words.

Source of the clamp's current: I = (V - (VDD + 0.6 V)) / R, the injection rule of a microcontroller maker's
data sheet; an upper bound, since it knows no resistance but the parts in between.
"""

from msgspec.structs import replace

from server.engine.accepted_board import Board, accept_board
from server.engine.constants.bench import UNIT_FACTORS
from server.engine.constants.overstress import CLAMP_MV, WORST_SHOWN
from server.engine.discharge import energy_mj
from server.engine.overstress import lines_of, module_groups, net_key, overstress_where
from server.engine.overstress_states import (
    CANNOT_SIT_OFF,
    STATES,
    Sitting,
    at_state,
    feeds_without_ground,
    is_line,
    net_of,
    sittings_of,
)
from server.engine.roles import chip_of
from server.engine.rounding import millivolts, plain
from shared_models.board import Contact, SeriesPart
from shared_models.opinion import Overstress
from shared_models.overstress import (
    Meeting,
    OverstressCase,
    OverstressMap,
    OverstressQuestion,
    PlugState,
    Standing,
    Way,
    Worst,
)
from shared_models.sheet import BenchSheet
from shared_models.tables import ROLE_BY_ID

TOLD_FIRST: tuple[PlugState, ...] = ("lit", "battery_in_off", "asleep", "just_unplugged", "battery_off")
"""Of states that are as bad, the one a device is most often in."""

Rank = tuple[int, int, float, int]
Found = tuple[Rank, int, int, OverstressCase, Meeting]


def overstress_picture(question: OverstressQuestion) -> OverstressMap:
    """The whole picture of one socket. Raises SheetError for a socket the board has not, or one without contacts."""
    sheet = BenchSheet(
        sheet_id="picture",
        asked_at_ms=0,
        board=question.board,
        socket=question.socket,
        corrections=question.corrections,
    )
    board = accept_board(sheet)
    sittings = sittings_of(board)
    cases = []
    for state in STATES:
        standing = at_state(board, state.id)
        cases += [_case(board, standing, sitting, state.id) for sitting in sittings]
    return OverstressMap(
        socket=question.socket,
        ways=tuple(_way(board, sitting) for sitting in sittings),
        states=STATES,
        cases=tuple(cases),
        worst=_worst(cases, sittings),
        notes=_notes(board),
    )


def clamp_ma(volts_mv: float, supply_mv: float, through_ohm: float) -> float:
    """Milliamperes into a clamp to a supply of `supply_mv`, from `volts_mv` through `through_ohm`: an upper bound."""
    return max(0.0, volts_mv - supply_mv - CLAMP_MV) / through_ohm


def _way(board: Board, sitting: Sitting) -> Way:
    number = [contact.number for contact in board.contacts]
    stands = tuple(Standing(plug=number[plug], socket=number[on]) for plug, on in sorted(sitting.stands.items()))
    return Way(id=sitting.id, kind=sitting.kind, words=sitting.words, stands=stands, slip=sitting.slip)


def _case(board: Board, standing: Board, sitting: Sitting, state: PlugState) -> OverstressCase:
    """`board` as it works, `standing` with its rails at the state."""
    meetings: dict[tuple[str, str, bool], Meeting] = {}
    for line in _lines(standing, sitting, state):
        meeting = _meeting(board, standing, sitting, line, lit=state in ("lit", "just_unplugged"))
        key = (meeting.meets, meeting.contact, meeting.shorted_to_ground)
        if key not in meetings or meeting.volts_mv > meetings[key].volts_mv:
            meetings[key] = meeting
    places = board.places
    ordered = sorted(meetings.values(), key=lambda one: (_rank(one), places[one.contact], one.meets))
    return OverstressCase(way=sitting.id, state=state, meetings=tuple(ordered))


def _lines(standing: Board, sitting: Sitting, state: PlugState) -> list[Overstress]:
    if sitting.pairs:
        # the plug is home but for what joins two: the module's lines meet what the board's do, where it is in
        found = []
        for pair in sitting.pairs:
            above = {} if state == "just_unplugged" else {index: index for index in pair}
            found += lines_of(standing, 0, above, list(pair), list(pair))
        return found
    if sitting.kind == "tilted":
        return _through_the_module(standing, list(sitting.stands))
    return overstress_where(standing, sitting.stands, sitting.slip)


def _through_the_module(standing: Board, landed: list[int]) -> list[Overstress]:
    """A module that is fed before its ground has landed lifts itself, and its lines with it through its clamps."""
    if not feeds_without_ground(standing, landed):
        return []
    contacts = [standing.contacts[index] for index in landed]
    rails = [contact for contact in contacts if ROLE_BY_ID[contact.role].is_rail]
    feed = max(rails, key=lambda contact: contact.working_mv or 0.0)
    volts_mv = feed.working_mv or 0.0
    found = []
    for index in landed:
        contact = standing.contacts[index]
        if is_line(contact) and volts_mv > (contact.working_mv or 0.0):
            found += lines_of(standing, 0, {}, [standing.places[feed.number], index], [])
    return found


def _meeting(board: Board, standing: Board, sitting: Sitting, line: Overstress, *, lit: bool) -> Meeting:
    contact = board.contacts[board.places[line.contact]]
    source, joined = _came_from(standing, sitting, line)
    net = net_of(board, source)
    parts = [part for part in contact.path if isinstance(part, SeriesPart)] if line.meets == "board" else []
    ohms = [part.ohm for part in parts if part.ohm is not None]
    ohm = None if len(ohms) < len(parts) or not contact.path or line.meets == "module" else _total(ohms)
    blocked = any(part.blocks_dc for part in parts)
    volts, limit = line.volts_mv, line.limit_mv
    own_mv = (contact.working_mv or 0.0) if lit else 0.0
    before = _before_the_source(source)
    whole = None if ohm is None else ohm + (before or 0.0)
    flows = whole is not None and whole > 0 and not blocked and is_line(contact) and not line.shorted_to_ground
    clamp = clamp_ma(volts, own_mv, whole) if flows and whole else None
    lasts = line.meets == "board" and is_line(contact) and not blocked and not line.shorted_to_ground
    limits = [one for one in (clamp, net.source_ma if net is not None else None) if one is not None]
    into = chip_of(contact) if line.meets == "board" else None
    part = board.parts.get(into) if into is not None else None
    stored_at_mv = standing.contacts[standing.places[source.number]].working_mv or 0.0
    meeting = Meeting(
        meets=line.meets,
        contact=contact.number,
        name=contact.name,
        from_contact=source.number,
        from_name=source.name,
        volts_mv=millivolts(volts),
        limit_mv=limit,
        limit_known=contact.limit_mv is not None,
        times_limit=None if line.shorted_to_ground or not limit else plain(volts / limit),
        over_limit=not line.shorted_to_ground and limit is not None and volts > limit,
        shorted_to_ground=line.shorted_to_ground,
        through=tuple(part.part for part in parts),
        through_ohm=None if ohm is None else plain(ohm),
        energy_mj=plain(energy_mj(net.stored_uf, stored_at_mv)) if net is not None and net.stored_uf else None,
        source_ma=net.source_ma if net is not None else None,
        clamp_ma=None if clamp is None else plain(clamp),
        into=into,
        at_risk=part is not None and (part.holds_data or part.guards_data),
        joined_by=joined,
        sentence="",
        source_ohm=None if before is None else plain(before),
        lasting_ma=plain(min(limits)) if lasts and limits else None,
        only_a_pulse=blocked,
    )
    return replace(meeting, sentence=_sentence(meeting))


def _before_the_source(source: Contact) -> float | None:
    """Ohms between the source and its own contact (its fuse, its ferrite), where its path says them."""
    if source.sourced_by == "module":
        return None
    known = [part.ohm for part in source.path if isinstance(part, SeriesPart) and part.ohm is not None]
    return _total(known) if known else None


def _total(ohms: list[float]) -> float:
    total = 0.0
    for ohm in ohms:
        total += ohm
    return total


def _came_from(standing: Board, sitting: Sitting, line: Overstress) -> tuple[Contact, tuple[str, ...]]:
    """The contact of the source's net the voltage really came by, and the two plug contacts the module joins for it."""
    told = standing.contacts[standing.places[line.from_contact]]
    victim = standing.places[line.contact]
    if line.meets == "module" and sitting.pairs:
        return told, ()
    if line.meets == "module":
        on = standing.contacts[sitting.stands[victim]]
        return (on, ()) if net_key(on) == net_key(told) else (told, ())
    above = {socket: plug for plug, socket in sitting.stands.items()}
    if sitting.kind == "tilted" or victim not in above:
        return told, ()
    groups = module_groups(standing)
    for index, contact in enumerate(standing.contacts):
        plug = above.get(index)
        if plug is not None and net_key(contact) == net_key(told) and groups[plug] == groups[above[victim]]:
            joined = (standing.contacts[above[victim]].number, standing.contacts[plug].number)
            return contact, joined if joined[0] != joined[1] else ()
    return told, ()


def _sentence(meeting: Meeting) -> str:
    who = f"{meeting.name or 'contact'} ({meeting.contact})"
    if meeting.shorted_to_ground:
        return f"{who} is shorted to ground: its switch or fuse is asked for all it gives."
    said = [f"{who} meets {_volts(meeting.volts_mv)} from {meeting.from_name or 'contact'} ({meeting.from_contact})"]
    if meeting.limit_mv is not None:
        known = "its limit is" if meeting.limit_known else "such lines stand"
        said.append(f"{known} {_volts(meeting.limit_mv)}")
    if meeting.only_a_pulse:
        said.append("a capacitor lets only a pulse through")
    elif meeting.through_ohm:
        said.append(f"{meeting.through_ohm:.0f} ohm in between")
    if meeting.energy_mj and meeting.source_ma:
        said.append(f"{meeting.energy_mj:.1f} mJ at once, then up to {_amps(meeting.source_ma)}")
    elif meeting.energy_mj:
        said.append(f"{meeting.energy_mj:.1f} mJ at once")
    if meeting.at_risk:
        said.append(f"{meeting.into} holds or guards the data")
    return "; ".join(said) + "."


def _amps(ma: float) -> str:
    return f"{ma:.0f} mA" if ma < UNIT_FACTORS["A"] else f"{ma / UNIT_FACTORS['A']:.1f} A"


def _volts(volts_mv: float) -> str:
    volts = volts_mv / UNIT_FACTORS["V"]
    return f"{volts:.1f} V" if volts != round(volts) else f"{volts:.0f} V"


def _rank(meeting: Meeting) -> Rank:
    """Worst first: over its limit, with the data behind it, by how many times; a rail shorted to ground after those."""
    return (
        0 if meeting.over_limit and not meeting.only_a_pulse else 1 if meeting.over_limit else 2,
        0 if meeting.at_risk else 1,
        -(meeting.times_limit or 0.0),
        0 if meeting.shorted_to_ground else 1,
    )


def _worst(cases: list[OverstressCase], sittings: list[Sitting]) -> tuple[Worst, ...]:
    """The three worst of all, each line named once, by its likeliest way where several are as bad."""
    order = {sitting.id: place for place, sitting in enumerate(sittings)}
    words = {sitting.id: sitting.words for sitting in sittings}
    states = {state.id: state.words for state in STATES}
    found = [
        (_rank(meeting), order[case.way], place, case, meeting)
        for place, case in enumerate(cases)
        for meeting in case.meetings
        if meeting.over_limit or meeting.shorted_to_ground
    ]
    told: list[Worst] = []
    named: list[tuple[str, str]] = []
    for *_, case, meeting in sorted(found, key=_where_in_the_list):
        line = (meeting.meets, meeting.name or meeting.contact)
        if line in named or len(told) == WORST_SHOWN:
            continue
        named.append(line)
        side = "the module's " if meeting.meets == "module" else ""
        sentence = f"{words[case.way].capitalize()}, {states[case.state]}: {side}{meeting.sentence}"
        told.append(Worst(way=case.way, state=case.state, sentence=sentence))
    return tuple(told)


def _where_in_the_list(found: Found) -> tuple[Rank, int, int, int]:
    rank, way, place, case, _ = found
    return rank, way, TOLD_FIRST.index(case.state), place


def _notes(board: Board) -> tuple[str, ...]:
    notes = []
    cannot = CANNOT_SIT_OFF.get(board.socket.kind)
    if cannot is not None:
        notes.append(cannot)
    rails = [contact for contact in board.contacts if ROLE_BY_ID[contact.role].is_rail]
    unknown = [contact.number for contact in rails if contact.working_mv is None]
    if unknown and len(unknown) == len(rails):
        notes.append("No rail of this socket has a working voltage yet, so nothing can be said of what meets what.")
    elif unknown:
        notes.append(f"Left out, since their working voltage is not written down: {', '.join(unknown)}.")
    if any(sitting.kind in ("tilted", "turned", "skewed") for sitting in sittings_of(board)):
        notes.append(
            "Tilted, turned and askew are assumptions: one end or row first; four places at each end on the row "
            "across; half of a single row spanning two."
        )
    if any(contact.role == "led_plus" for contact in board.contacts):
        notes.append("With the battery off and the LED capacitor measured under 1 V none of this happens.")
    else:
        notes.append("With the battery off and the main rail measured under 1 V none of this happens.")
    return tuple(notes)
