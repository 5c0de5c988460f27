"""What a reading means in ohms, as sentences: beside `wording`, for the circuit's answers (`circuit.meaning`,
`circuit.second_current`).

Only what the path supports is said; where several places explain a number alike, all of them are named and the
sentence says that the number does not part them. Every sentence has its numbers beside it.
"""

from server.engine.circuit.meaning import LeakAt, Meaning
from server.engine.circuit.parts import Circuit
from server.engine.circuit.second_current import At, PairLeak
from server.engine.constants import UNIT_FACTORS
from server.engine.rounding import millivolts, plain
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


def _interval(place: LeakAt) -> str:
    """11 ± 4 ohm, where that is what the interval is; else from and to, or more than."""
    ohm, low, high = place.ohm or 0.0, place.low_ohm or 0.0, place.high_ohm
    if high is None:
        return f"more than {ohms(low)}"
    if high < UNIT_FACTORS["kohm"] and low > 0:
        return f"{ohm:.0f} ± {0.5 * (high - low):.0f} ohm"
    return f"{ohms(ohm)} ({ohms(low)} to {ohms(high)})" if low > 0 else f"at most {ohms(high)}"


def means(contact: str, meaning: Meaning, circuit: Circuit) -> Reason | None:
    """The number in ohms and what is left behind each part passed; None where nothing is left to explain."""
    told = [place for place in meaning.places if place.possible and place.low_ohm is not None]
    if not told or all(place.ohm is None for place in told):
        return None
    first = meaning.places[0]
    shorts = [place for place in told if place.short_like]
    start = f"{meaning.drop_mv:.0f} mV at {meaning.current_ma:.2f} mA is {meaning.ohm:.0f} ohm."
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
        "current_ma": plain(meaning.current_ma),
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
            f"({current_ma:.2f} mA); a smaller test current shows lighter ones."
        ),
        numbers=(Number(name="largest_visible_ohm", value=plain(ohm)),),
    )


def two_currents(contact: str, first: At, second: At, leak: PairLeak) -> Reason:
    """What two currents of one contact say together."""
    pair = (
        f"{first.drop_mv:.0f} mV at {first.current_ma:.2f} mA and {second.drop_mv:.0f} mV at {second.current_ma:.2f} mA"
    )
    if leak.ohm is None or leak.high_ohm is None:
        code = "pair_sees_no_leak"
        limit = "" if leak.low_ohm is None else f" One below {ohms(leak.low_ohm)} would have shown."
        sentence = f"{pair} fit together as on a healthy line: no leak is seen.{limit}"
    else:
        code = "pair_sees_leak"
        low = ohms(leak.low_ohm) if leak.low_ohm is not None else ohms(0.0)
        sentence = (
            f"{pair} are {leak.more_mv:.0f} mV further apart than a healthy line's: a leak of {ohms(leak.ohm)} "
            f"({low} to {ohms(leak.high_ohm)}), whatever this board's own spread."
        )
    numbers = {"more_mv": millivolts(leak.more_mv), "more_sd_mv": millivolts(leak.sd_mv)}
    for name, value in (("ohm", leak.ohm), ("low_ohm", leak.low_ohm), ("high_ohm", leak.high_ohm)):
        if value is not None:
            numbers[name] = plain(value)
    return Reason(
        code=code,
        sentence=sentence,
        numbers=tuple(Number(name=name, value=value) for name, value in numbers.items()),
        contacts=(contact,),
    )
