"""Low lines that nothing explains yet, and the power-ups that were made on them. Also runs on the phone.

A low line is explained by stories that are settled and speak of it, once it was touched again; or by a word that
somebody who looked at it set down on the list before power.
"""

from server.engine.candidate import Hypothesis, about
from server.engine.constants.chances import SETTLED
from server.engine.inference import Judged
from server.engine.verdicts import ContactState
from shared_models.power import PowerCheck
from shared_models.sheet import BenchSheet

POWERED = ("draw_none", "draw_at_limit", "draw_low_steady", "draw_as_healthy", "draw_in_steps",
           "torch_shows_picture", "torch_shows_nothing")  # fmt: skip


def newest_checks(sheet: BenchSheet) -> dict[str, PowerCheck]:
    """The newest check of each line; those taken back left out."""
    newest: dict[str, PowerCheck] = {}
    for check in sorted(sheet.power_checks, key=lambda one: (one.checked_at_ms, one.id)):
        if check.id not in sheet.removed_ids:
            newest[check.check] = check
    return newest


def named(sheet: BenchSheet) -> str:
    """What somebody says the low lines are; empty where nobody did."""
    check = newest_checks(sheet).get("lows_explained")
    return check.note.strip() if check is not None and check.done else ""


def low_lines(states: list[ContactState]) -> list[int]:
    """Contacts that read low or short."""
    return [state.contact for state in states if state.verdict in ("low", "short")]


def unexplained(judged: Judged, states: list[ContactState], known: list[Hypothesis]) -> list[int]:
    """Of the low lines those that no settled story explains, or that one touch alone calls low."""
    found = []
    for index in low_lines(states):
        told = 0.0
        for hypothesis in known:
            net = judged.prepared.members[judged.prepared.net_variable[index]]
            told += hypothesis.weight if any(about(hypothesis, one) is not None for one in net) else 0.0
        whole = 0.0
        for hypothesis in known:
            whole += hypothesis.weight if hypothesis.stories else 0.0
        if states[index].touch_again or told < SETTLED * whole:
            found.append(index)
    return found


def power_ups(sheet: BenchSheet) -> int:
    """How often the supply or a torch was tried, by what was noted of it."""
    return len([one for one in sheet.observations if one.seen in POWERED and one.id not in sheet.removed_ids])
