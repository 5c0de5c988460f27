"""What could be touched next: every candidate with what it would answer under each story.

A candidate is a place with a question of two or three answers; `answers[h]` is the distribution of
the answer if hypothesis h (one story, or two) is true. Unread contacts are not here: their answers
are the latent model's own outcomes (`unread.py`). What needs power or changes the board waits in `probing.py` until
nothing gentler is worth its time.
"""

from server.engine.candidate import TITLES, Candidate, Hypothesis
from server.engine.constants.next_touch import ODD_MIN, SUSPECTS_LOOKED_AT
from server.engine.inference import Judged
from server.engine.touch_blunders import touches_of_blunders
from server.engine.touch_contacts import touches_at_contact
from server.engine.touch_current import with_a_smaller_current
from server.engine.touch_hunt import hunting
from server.engine.touch_parts import bridge_checks, touches_at_module, touches_at_parts
from server.engine.touch_power import touches_under_power
from server.engine.touch_sides import turned, where_now
from server.engine.verdicts import ContactState


def candidates(
    judged: Judged, states: list[ContactState], known: list[Hypothesis], *, data_matters: bool
) -> list[Candidate]:
    """Every place worth considering beside the unread contacts."""
    found: list[Candidate] = []
    for contact in _suspects(judged, states):
        found.extend(touches_at_contact(judged, contact, states[contact], known))
        found.extend(with_a_smaller_current(judged, contact, states[contact], known))
    found.extend(bridge_checks(judged, states, known))
    found.extend(touches_at_parts(judged, states, known))
    found.extend(touches_at_module(judged, known))
    found.extend(touches_of_blunders(judged, known))
    found.extend(touches_under_power(judged, known))
    found.extend(hunting(judged, states, known, data_matters=data_matters))
    done = _done(judged)
    sides = judged.prepared.sides
    now = where_now(sides, judged.facts)
    return [one._replace(shown=turned(sides, now, one.shown)) for one in found if one.shown.title not in done]


def _suspects(judged: Judged, states: list[ContactState]) -> list[int]:
    """Contacts that were read and are in doubt, the most doubtful first."""
    odd = [
        state
        for state in states
        if (state.contact, "red") in judged.seen
        and (state.odds[0] < 1 - ODD_MIN * ODD_MIN * ODD_MIN or state.touch_again)
    ]
    odd.sort(key=lambda state: (state.odds[0], state.contact))
    return [state.contact for state in odd[:SUSPECTS_LOOKED_AT]]


def _done(judged: Judged) -> list[str]:
    """Titles of places that were measured already."""
    titles = []
    for finding in judged.findings:
        titles.append(TITLES.get(finding.code, "{0}").format(finding.where))
    for contact, lead in judged.seen:
        if lead == "black":
            titles.append(TITLES["other_polarity"].format(judged.prepared.board.contacts[contact].number))
    for contact, _ in judged.seconds:
        titles.append(TITLES["second_current"].format(judged.prepared.board.contacts[contact].number))
    return titles
