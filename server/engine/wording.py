"""Codes and numbers to sentences: the only place where the engine writes prose.

Every sentence is short, in the trade's words, and carries its numbers beside it, so that tests and
translations read codes. Never "OK", which sounds like OL.
"""

from typing import Literal

from server.engine.bands import Healthy
from server.engine.constants.bench import UNIT_FACTORS
from server.engine.faulted import View
from server.engine.rounding import millivolts, plain
from server.engine.stories.kinds import Scene, Story
from shared_models.opinion import Number, Reason
from shared_models.tables import ROLE_BY_ID


def rests_on(band: Healthy) -> Literal["reference_boards", "siblings", "role"]:
    """What a band rests on, as the opinion names it."""
    return (
        "reference_boards"
        if band.rests_on == "reference_boards"
        else "siblings"
        if band.rests_on == "siblings"
        else "role"
    )


PLAIN_SENTENCES = {
    "out_of_reach": "Could not be reached.",
    "leads_swapped": "Read with the leads the other way round, it seems: not judged before it is read again.",
    "still_powered": "Read with voltage left on the board, it seems: not judged before that is gone and read again.",
    "no_climb": "Healthy boards climb here while they are held; this one does not, as if its capacitors were cut off.",
}


def reason(code: str, *, contacts: tuple[str, ...] = ()) -> Reason:
    """A reason without numbers."""
    return Reason(code=code, sentence=PLAIN_SENTENCES[code], contacts=contacts)


def _mv(value: float) -> str:
    return f"{value:.0f} mV"


def _ohms(value: float) -> str:
    kilo = UNIT_FACTORS["kohm"]
    return f"{value / kilo:.1f} kohm" if value >= kilo else f"{value:.0f} ohm"


def against_band(contact: str, drop_mv: float, view: View, band: Healthy) -> Reason:
    """The number beside what a healthy contact reads here."""
    off = drop_mv - view.loc
    basis = {
        "reference_boards": f"{band.boards} healthy board{'s' if band.boards != 1 else ''}",
        "siblings": f"its sibling{'s' * (len(band.siblings) > 1)} {', '.join(band.siblings)} on this board",
        "role": "its role alone",
    }[band.rests_on]
    if view.ol_odds > 0.5:
        sentence = f"{_mv(drop_mv)} where a healthy one shows OL ({basis})."
    else:
        side = "above" if off > 0 else "below"
        sentence = (
            f"{_mv(drop_mv)}; a healthy one reads {_mv(view.loc)} here ({basis}): {abs(off):.0f} "
            f"mV {side}, {abs(off) / view.scale:.1f} deviations."
        )
    return Reason(
        code="against_band",
        sentence=sentence,
        contacts=(contact,),
        numbers=(
            Number(name="drop_mv", value=millivolts(drop_mv)),
            Number(name="centre_mv", value=millivolts(view.loc)),
            Number(name="scale_mv", value=millivolts(view.scale)),
            Number(name="reference_boards", value=float(band.boards)),
        ),
    )


def unseen(contact: str, role: str, capacitor: str | None) -> Reason:
    """OL where healthy boards show OL: what this reading cannot see, and where to touch instead."""
    if capacitor is not None:
        sentence = (
            f"OL, as on a healthy board: {capacitor} blocks the meter. An open cannot be seen "
            f"here; touch the chip side of {capacitor}."
        )
    elif role in ("strap", "aux_coupled"):
        sentence = "OL, as on a healthy board. A drop shows nothing here; measure ohms instead."
    elif role == "unconnected":
        sentence = "OL, as on a healthy board: nothing is connected."
    else:
        sentence = (
            "OL, as on a healthy board: an open cannot be seen here in diode mode; touch behind the part that blocks."
        )
    return Reason(code="unseen", sentence=sentence, contacts=(contact,), parts=(capacitor,) if capacitor else ())


def over_range(contact: str, agreeing: int, centre_mv: float) -> Reason:
    """OL where a drop is expected: one touch settles nothing."""
    if agreeing > 1:
        return Reason(
            code="over_range",
            sentence=f"OL on {agreeing} touches; a healthy one reads {_mv(centre_mv)}.",
            contacts=(contact,),
            numbers=(
                Number(name="touches", value=float(agreeing)),
                Number(name="centre_mv", value=millivolts(centre_mv)),
            ),
        )
    return Reason(
        code="one_over_range",
        sentence=(
            f"OL on one touch; a healthy one reads {_mv(centre_mv)}. A missed touch reads the same: touch it again."
        ),
        contacts=(contact,),
        numbers=(Number(name="centre_mv", value=millivolts(centre_mv)),),
    )


def other_lead(contact: str, drop_mv: float | None, centre_mv: float, *, to_rail: bool = False) -> Reason:
    """A number with black on ground that is none of a healthy contact: what lies on its way to the rail. `to_rail`: a
    leak to ground would have shown with red on ground.
    """
    low = drop_mv is not None and drop_mv < centre_mv
    shown = "OL" if drop_mv is None else _mv(drop_mv)
    leak = "a leak to the rail, since one to ground would show with red on ground too" if to_rail else (
        "a leak, to the rail or to ground"
    )
    means = leak if low else "its clamp to the rail, or what the rail feeds, is missing"
    numbers = (Number(name="centre_mv", value=millivolts(centre_mv)),)
    if drop_mv is not None:
        numbers = (Number(name="drop_mv", value=millivolts(drop_mv)), *numbers)
    return Reason(
        code="other_lead",
        sentence=f"With black on ground {shown}; a healthy one reads {_mv(centre_mv)}: {means}.",
        contacts=(contact,),
        numbers=numbers,
    )


def two_touches(contact: str, one: float | None, other: float | None) -> Reason:
    """Two touches that contradict each other."""
    words = [_mv(value) if value is not None else "OL" for value in (one, other)]
    return Reason(
        code="touches_disagree",
        sentence=f"One touch says {words[0]}, another {words[1]}: touch it a third time, or it changes when pressed.",
        contacts=(contact,),
    )


def as_ohms(contact: str, ohm: float) -> Reason:
    """A low number as the leak that would explain it."""
    return Reason(
        code="as_ohms",
        sentence=f"A leak of about {_ohms(ohm)} to ground would read this.",
        contacts=(contact,),
        numbers=(Number(name="leak_ohm", value=plain(ohm)),),
    )


SLIP_WORDS = {"1": "one place", "2": "two places", "3": "three places"}


def story_title(story: Story, scene: Scene) -> str:
    """What happened, in a few words."""
    names = [scene.board.contacts[index].number for index in story.contacts]
    if story.kind == "nothing_wrong":
        return "Nothing wrong with this socket"
    if story.kind == "elsewhere":
        return "Elsewhere: module, cable or seating"
    if story.kind == "plug_off_by":
        slip = int(story.subject)
        towards = "high" if slip > 0 else "low"
        return f"Plug {SLIP_WORDS[str(abs(slip))]} off towards {towards} numbers, live"
    if story.kind == "plugged_live":
        return f"Plugged live: {story.part} hurt" if story.part else "Plugged live: inputs hurt"
    if story.kind == "bridge":
        return f"Bridge between {names[0]} and {names[1]}"
    if story.kind == "contact_torn":
        return f"Contact {names[0]} bent, dirty or torn"
    if story.kind == "shunt_short":
        return f"{story.part} shorted at {names[0]}" if story.part else f"A part to ground shorted at {names[0]}"
    if story.kind == "series_open":
        where = (
            f"in the feed of {', '.join(names)}"
            if len(names) > 1 or ROLE_BY_ID[scene.board.contacts[story.contacts[0]].role].is_rail
            else f"at {names[0]}"
        )
        return f"{story.part} open {where}" if story.part else f"A part in series open {where}"
    if story.kind == "leak":
        return f"Leak at {names[0]}, to ground or a rail"
    if story.kind == "chip_damaged":
        return f"Damaged chip {story.part}" if story.part else "Damaged chip behind the socket"
    if story.kind == "plug_tilted":
        return f"Plug tilted in live: {story.subject} touched first"
    if story.kind == "tool_slip":
        return f"Tool across {names[0]} and {names[1]}, live"
    if story.kind == "part_knocked_off":
        return f"{story.part} gone at {names[0]}" if story.part else f"A small part gone at {names[0]}"
    if story.kind == "wet":
        return f"Wet or corroded around {story.subject}"
    if story.kind == "cracked_joint":
        return f"Cracked joint under {story.part}" if story.part else "Cracked joint under the chip behind"
    if story.kind == "cable_flipped":
        return "Cable in the wrong way round"
    if story.kind == "separate_faults":
        return "Several separate faults, no one cause"
    if story.kind == "leads_swapped":
        return "The leads are swapped"
    if story.kind == "other_revision":
        return f"{story.part or 'A chip'} of another maker or revision"
    if story.kind == "meter_differs":
        return "Meter or temperature is not what was told"
    if story.kind == "still_powered":
        return "Voltage is left on the board"
    return f"Rail {story.subject} shorted to ground"


ORDER_SENTENCES = {
    "as_drawn": "You are counting as drawn.",
    "from_the_other_end": "You are counting from the other end.",
    "from_the_other_side": "You are counting from the other side: each row runs the other way.",
    "other_row_first": "You are counting the other row first.",
}

DECISION_SENTENCES = {
    "nothing": "Leave this socket alone.",
    "module": "Look at the module, its cable and its seat before the board.",
    "reseat_or_clean": "Look, clean and read again{at}.",
    "socket": "Straighten, resolder or replace the contact or socket{at}.",
    "series_part": "Replace the series part{at}.",
    "shunt_part": "Take off the part to ground{at} and read again.",
    "chip": "The chip{at} is hurt: small parts first, then the chip.",
    "hunt_rail": "Hunt the short on the rail{at}: heat first, then millivolts.",
    "one_by_one": "Mend each odd line by itself; look for what they share: water, age, earlier work.",
    "redo_reading": "Read again before anything else.",
}


REDO_SENTENCES = {
    "leads": "Swap the leads and read again.",
    "revision": "Compare with healthy boards of this revision.",
    "meter": "Correct the meter's sheet by a known resistor, let the board cool to hand, then compare again.",
    "volts": "Prove every rail and the LED capacitor with the meter, then read again.",
}


def decision_sentence(kind: str, subject: str) -> str:
    """What would be done, in one sentence."""
    if kind == "redo_reading" and subject in REDO_SENTENCES:
        return REDO_SENTENCES[subject]
    return DECISION_SENTENCES[kind].format(at=f" {subject}" if subject else "")
