"""What a reading means in ohms, as sentences: beside `wording`, for the circuit's answers (`circuit.meaning`) and what
two currents say (`second_current`).

Only what the path supports is said; where several places explain a number alike, all of them are named and the
sentence says that the number does not part them. Every sentence has its numbers beside it.
"""

import math

from server.engine.circuit.meaning import LeakAt, Meaning
from server.engine.circuit.parts import Circuit
from server.engine.constants.answers import EVEN_SIDES
from server.engine.constants.bench import UNIT_FACTORS
from server.engine.rounding import millivolts, plain, test_current
from server.engine.second_current import Second
from server.engine.wording_units import forced_words
from shared_models.opinion import Number, Reason

CLAMP_ENDS = (".lower", ".upper")


def ohms(value: float) -> str:
    """11 ohm, 2.9 kohm."""
    kilo = UNIT_FACTORS["kohm"]
    return f"{value / kilo:.1f} kohm" if value >= kilo else f"{value:.0f} ohm"


def part_words(name: str) -> str:
    """A part as a person calls it: a chip's two clamps at one pin are its clamp."""
    for end in CLAMP_ENDS:
        if name.endswith(end):
            return f"{name.removesuffix(end)}'s clamp"
    return name


def _listed(names: tuple[str, ...]) -> str:
    words = list(dict.fromkeys(part_words(name) for name in names))
    if len(words) < 2:
        return "".join(words)
    return f"{', '.join(words[:-1])} or {words[-1]}"


def _passed(place: LeakAt, circuit: Circuit) -> tuple[str, ...]:
    """The parts in line before a place, the probe's own touch left out."""
    kinds = {part.name: part.kind for part in circuit.parts}
    return tuple(name for name in place.after if kinds.get(name) != "contact")


def interval(ohm: float, low: float, high: float | None) -> str:
    """11 ± 4 ohm, where that is what the interval is; else from and to, at most, or more than."""
    if high is None:
        return f"more than {ohms(low)}"
    if low <= 0:
        return f"at most {ohms(high)}"
    up, down = high - ohm, ohm - low
    if high < UNIT_FACTORS["kohm"] and abs(up - down) <= EVEN_SIDES * max(up, down):
        return f"{ohm:.0f} ± {math.ceil(max(up, down))} ohm"
    return f"{ohms(ohm)} ({ohms(low)} to {ohms(high)})"


def _interval(place: LeakAt) -> str:
    return interval(place.ohm or 0.0, place.low_ohm or 0.0, place.high_ohm)


def means(contact: str, meaning: Meaning, circuit: Circuit) -> Reason | None:
    """The number in ohms and what is left behind each part passed; None where nothing is left to explain."""
    told = [place for place in meaning.places if place.possible and place.low_ohm is not None]
    if not told or all(place.ohm is None for place in told):
        return None
    first = meaning.places[0]
    shorts = [place for place in told if place.short_like]
    start = f"{meaning.drop_mv:.0f} mV at {forced_words(meaning.current_ma)} is {meaning.ohm:.0f} ohm."
    if shorts and shorts[0] is not first:
        place = shorts[0]
        between = " and ".join(_with_value(name, circuit) for name in _passed(place, circuit))
        code = "short_behind"
        sentence = f"{start} {between} lies between: {_interval(place)} are left, so {_behind(shorts)}, not the socket."
    elif shorts:
        place = first
        code = "short_in_front"
        beyond = [place for place in meaning.places if not place.possible]
        stop = _passed(beyond[0], circuit)[-1:] if beyond else ()
        where = f"before {stop[0]}" if stop else "on this line"
        sentence = f"{start} That is a short {where}: {_at_socket(first)}."
    else:
        place = told[0]
        code = "leak_at_places"
        alone = len(meaning.places) == 1  # nothing lies between the socket and what it leads to
        sizes = [f"{_interval(one)} {'on this line' if alone else _where(one, circuit)}" for one in told]
        apart = " The number alone does not say which." if len(sizes) > 1 else ""
        sentence = f"A leak of {', or '.join(sizes)} would read this.{apart}"
    return Reason(
        code=code,
        sentence=sentence,
        numbers=_numbers(meaning, place),
        contacts=(contact,),
        parts=tuple(dict.fromkeys(name for one in (shorts or told) for name in one.beside)),
    )


def ohms_left(
    contact: str, drop_mv: float, current_ma: float, part: str, part_ohm: float, left: tuple[float, float, float | None]
) -> Reason:
    """A low number where the circuit is not drawn: if what is wrong lies behind the part in series, how large it is.

    `left`: the resistance to ground there, and its interval, ohm.
    """
    ohm, low, high = left
    numbers = [
        Number(name="ohm", value=plain(drop_mv / current_ma)),
        Number(name="series_ohm", value=plain(part_ohm)),
        Number(name="left_ohm", value=plain(ohm)),
        Number(name="left_low_ohm", value=plain(low)),
    ]
    if high is not None:
        numbers.append(Number(name="left_high_ohm", value=plain(high)))
    return Reason(
        code="ohms_left",
        contacts=(contact,),
        parts=(part,),
        sentence=(
            f"{drop_mv:.0f} mV at {forced_words(current_ma)} is {drop_mv / current_ma:.0f} ohm, {part} "
            f"({ohms(part_ohm)}) in line: if the fault lies behind it, {interval(ohm, low, high)} to ground there "
            "would read this."
        ),
        numbers=tuple(numbers),
    )


def joined_with(
    contact: str, other: str, between_ohm: float, drop_mv: float, healthy_mv: float | None, *, explains: bool
) -> Reason:
    """A low number of two lines proved joined from contact to contact; `healthy_mv`: what both would read healthy."""
    numbers = [Number(name="drop_mv", value=millivolts(drop_mv)), Number(name="between_ohm", value=plain(between_ohm))]
    both = "both lines share this number, and no leak is sized from it."
    if healthy_mv is not None:
        numbers.append(Number(name="joined_mv", value=millivolts(healthy_mv)))
        both = (
            f"two healthy lines joined read about {healthy_mv:.0f} mV, so the bridge alone explains it."
            if explains
            else f"two healthy lines joined read about {healthy_mv:.0f} mV, so one of the two is wrong besides; which "
            "and by how many ohms is known once they are apart."
        )
    return Reason(
        code="joined_lines",
        contacts=(contact, other),
        sentence=f"{contact} is joined with {other} ({between_ohm:.1f} ohm from contact to contact): {both}",
        numbers=tuple(numbers),
    )


def _with_value(name: str, circuit: Circuit) -> str:
    ohm = next((part.ohm for part in circuit.parts if part.name == name), None)
    return name if ohm is None else f"{name} ({ohms(ohm)})"


def _behind(places: list[LeakAt]) -> str:
    names = tuple(name for place in places for name in place.beside)
    return _listed(names) if names else "what lies behind it"


def _at_socket(first: LeakAt) -> str:
    return f"the socket, {_listed(first.beside)}" if first.beside else "the socket or what is soldered to it"


def _where(place: LeakAt, circuit: Circuit) -> str:
    passed = _passed(place, circuit)
    return f"behind {passed[-1]}" if passed else "at the socket"


def _numbers(meaning: Meaning, place: LeakAt) -> tuple[Number, ...]:
    told = {
        "drop_mv": millivolts(meaning.drop_mv),
        "current_ma": test_current(meaning.current_ma),
        "ohm": plain(meaning.ohm),
        "left_ohm": plain(place.ohm or 0.0),
        "left_low_ohm": plain(place.low_ohm or 0.0),
    }
    if place.high_ohm is not None:
        told["left_high_ohm"] = plain(place.high_ohm)
    return tuple(Number(name=name, value=value) for name, value in told.items())


def would_not_show(contact: str, ohm: float | None) -> Reason:
    """How large a leak this meter would miss at this contact; None: it would miss any."""
    if ohm is None:
        return Reason(code="no_leak_shows", sentence="No leak would show here on this meter.", contacts=(contact,))
    return Reason(
        code="leak_above_does_not_show",
        sentence=f"A leak above {ohms(ohm)} would not show on this meter.",
        numbers=(Number(name="largest_visible_ohm", value=plain(ohm)),),
        contacts=(contact,),
    )


def not_shown(ohm: float, current_ma: float) -> Reason:
    """How large a leak most signal contacts of this session would hide, on this meter."""
    return Reason(
        code="leak_above_does_not_show",
        sentence=(
            f"A leak above about {ohms(ohm)} would not show at most signal contacts with this meter "
            f"({forced_words(current_ma)}); a smaller test current shows lighter ones."
        ),
        numbers=(Number(name="largest_visible_ohm", value=plain(ohm)),),
    )


def current_not_told(current_ma: float) -> Reason:
    """A session whose test current nobody measured: what its ohms are worth."""
    return Reason(
        code="current_not_told",
        sentence=(
            f"Nobody has measured this meter's test current: taken as {forced_words(current_ma)}, it may be half or "
            "twice that, and every number of ohms here with it. Two known resistors make its sheet."
        ),
        numbers=(Number(name="current_ma", value=test_current(current_ma)),),
    )


def references_not_told(boards: int) -> Reason:
    """Healthy boards read at a current nobody measured."""
    some = "One healthy board was" if boards == 1 else f"{boards} healthy boards were"
    return Reason(
        code="references_current_not_told",
        sentence=(
            f"{some} read with a meter whose test current nobody has measured: how it differs from this one is found "
            "from the readings themselves, so a fault common to most contacts would pass for it."
        ),
        numbers=(Number(name="boards", value=float(boards)),),
    )


def _pair(drop_mv: float, second: Second) -> str:
    return (
        f"{drop_mv:.0f} mV at {forced_words(second.first_ma)} and {second.drop_mv or 0.0:.0f} mV at "
        f"{forced_words(second.current_ma)}"
    )


def pair_sees_leak(contact: str, drop_mv: float, second: Second, leak: tuple[float, float, float]) -> Reason:
    """The leak (middle, low, high) that explains both readings of a low contact."""
    middle, low, high = leak
    more = second.healthy_mv - (second.drop_mv or 0.0)
    return Reason(
        code="pair_sees_leak",
        sentence=(
            f"{_pair(drop_mv, second)} are {more:.0f} mV further apart than on a healthy line: a leak of about "
            f"{ohms(middle)} ({ohms(low)} to {ohms(high)}), whatever this board's own spread."
        ),
        numbers=(
            Number(name="leak_ohm", value=plain(middle)),
            Number(name="low_ohm", value=plain(low)),
            Number(name="high_ohm", value=plain(high)),
        ),
        contacts=(contact,),
    )


def pair_sees_none(contact: str, drop_mv: float, second: Second, shown_ohm: float) -> Reason:
    """Two readings that fit a healthy line, and the largest leak that they would have shown."""
    return Reason(
        code="pair_sees_no_leak",
        sentence=(
            f"{_pair(drop_mv, second)} fit together as on a healthy line: no leak is seen. One below "
            f"{ohms(shown_ohm)} would have shown."
        ),
        numbers=(Number(name="largest_visible_ohm", value=plain(shown_ohm)),),
        contacts=(contact,),
    )
