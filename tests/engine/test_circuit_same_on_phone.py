"""The circuit's answers are the same here and on the phone's Python, to the digits that leave the engine."""

import json
import random
from pathlib import Path

import pytest

from server.engine.circuit.readings import prepared, read
from tests.support import circuit_timing
from tests.support.circuits import random_asked
from tests.support.pyodide_node import PyodideNode

CIRCUITS = 300

ASK = """
import json
from server.engine.circuit.clamp_fit import HealthyReading, fit_clamp
from server.engine.circuit.meaning import Doubts, largest_visible_leak, what_it_means
from server.engine.circuit.parts import Circuit, DiodeTest, Junction, Part, PartState, forced_current
from server.engine.circuit.readings import prepared, read
from server.engine.rounding import millivolts

def answers(cases):
    told = []
    for circuit, meter, lead, celsius, states in cases:
        shown = read(prepared(circuit, celsius), meter, lead, states)
        told.append([None if shown.drop_mv is None else millivolts(shown.drop_mv), shown.steps])
    return told

def further():
    healthy = [HealthyReading(450.0, 1.02, 23.0, 1.0, "a"), HealthyReading(355.0, 0.1, 23.0, 1.0, "a")]
    fit = fit_clamp(healthy, board_sd_mv=4.0)
    return [round(number, 4) for number in (*fit.mean, fit.covariance[1][1])]
"""

CASES = "\nAsked = lambda circuit, meter, lead, celsius, states: (circuit, meter, lead, celsius, states)\ncases = "

MEANINGS = """
def meanings():
    told = []
    for circuit in socket_circuits():
        ready = prepared(circuit, 23.0)
        for drop in (45.0, 300.0):
            for place in what_it_means(ready, METER, "red", drop).places:
                told.append([place.node, *[x if x is None else round(x, 3) for x in place[3:6]], place.short_like])
        told.append(round(largest_visible_leak(ready, METER, "red", 4.0) or 0.0, 3))
    return told
"""


@pytest.fixture(scope="module")
def source() -> str:
    """Everything that is run on both sides, as text."""
    rng = random.Random(31)
    cases = [random_asked(rng) for _ in range(CIRCUITS)]
    timing = Path(circuit_timing.__file__).read_text(encoding="utf-8")
    return f"{timing}\n{ASK}\n{MEANINGS}\n{CASES}{cases!r}\n"


def test_the_phones_python_gives_the_same_answers(source: str) -> None:
    question = "json.dumps([answers(cases), further(), meanings()])"
    here: dict[str, object] = {}
    exec(compile(source, "asked", "exec"), here)
    mine = json.loads(eval(question, here))
    with PyodideNode() as phone:
        theirs = json.loads(phone.run(f"{source}\n{question}"))
    assert theirs == mine
    shown = [drop for drop, _ in mine[0] if drop is not None]
    assert len(shown) > CIRCUITS // 2
    assert len(set(shown)) > CIRCUITS // 3


def test_the_text_asks_what_the_engine_is_asked(source: str) -> None:
    """The cases survive being written down: the first one reads the same when taken from the text."""
    here: dict[str, object] = {}
    exec(compile(source, "asked", "exec"), here)
    rng = random.Random(31)
    one = random_asked(rng)
    assert here["cases"][0] == tuple(one)  # type: ignore[index]
    direct = read(prepared(one.circuit, one.celsius), one.meter, one.lead, one.states)
    assert eval("read(prepared(cases[0][0], cases[0][3]), cases[0][1], cases[0][2], cases[0][4])", here) == direct
