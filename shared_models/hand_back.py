"""Words of handing back: what an owner signs, who can have had what, how storage ends, and what is never kept.

Clear, purge and destroy are the three ways of NIST SP 800-88 Rev. 2 (26 September 2025); what each means is said in
our words, the definitions themselves from memory. What a consent says: common practice, no source; a shop's own
terms and its country's law come first.
"""

from typing import Literal

from shared_models.base import Model
from shared_models.choice import Choice
from shared_models.custody import Sanitised


class ConsentRow(Model, frozen=True, kw_only=True):
    """What an owner agrees to: its id, a title for the list, and the words that stand above the signature, whole."""

    id: Literal["power_up", "data_work", "heat_or_chip_work", "sanitising", "handed_back"]
    title: str
    words: str
    without: str


class SanitisedRow(Model, frozen=True, kw_only=True):
    """One way in which storage ends, and what it is good for."""

    id: Sanitised
    words: str
    meaning: str


CONSENTS: tuple[ConsentRow, ...] = (
    ConsentRow(
        id="power_up",
        title="Power-up",
        words=(
            "My device may be connected to power to find the fault. I was told that a start with a fault in it can "
            "do more damage and can end the chance for my data. I can take this back until it is done."
        ),
        without="Not agreed to: do not connect power.",
    ),
    ConsentRow(
        id="data_work",
        title="Work on the data",
        words=(
            "My data may be copied, or the parts that hold them worked on, as far as it takes to bring them back. "
            "My files are opened no further than that. I was told that it can fail and that a failed try can be the "
            "last. I can take this back until it is done."
        ),
        without="Not agreed to: leave the data and the parts that hold them alone.",
    ),
    ConsentRow(
        id="heat_or_chip_work",
        title="Heat and chips",
        words=(
            "Parts of my board may be heated, lifted or replaced. I was told that this cannot always be undone. "
            "I can take this back until it is done."
        ),
        without="Not agreed to: no hot air, nothing lifted.",
    ),
    ConsentRow(
        id="sanitising",
        title="Storage that stays here",
        words=(
            "The storage and the copies of my data that stay at the shop are to be sanitised (clear, purge or "
            "destroy, as in NIST SP 800-88 Rev. 2). I was told that nothing can be brought back from them then."
        ),
        without="Not agreed to: give storage and copies back as they are.",
    ),
    ConsentRow(
        id="handed_back",
        title="Handed back",
        words="I have my device back, with the parts and the storage that are named, and was shown the page about it.",
        without="Not signed for yet.",
    ),
)

SANITISED: tuple[SanitisedRow, ...] = (
    SanitisedRow(
        id="clear",
        words="clear",
        meaning="written over or reset with its own commands: keeps simple recovery out; the storage can be used again",
    ),
    SanitisedRow(
        id="purge",
        words="purge",
        meaning="a laboratory gets nothing back either, for instance cryptographic erase; it can be used again",
    ),
    SanitisedRow(id="destroy", words="destroy", meaning="no recovery, and the storage itself can never be used again"),
)

CUSTODY_OF = (
    Choice(id="device", words="the device"),
    Choice(id="data_copy", words="a copy of the data"),
    Choice(id="storage", words="storage"),
    Choice(id="parts", words="old parts"),
)
CUSTODY_EVENTS = (
    Choice(id="received", words="came in"),
    Choice(id="handed_on", words="handed on"),
    Choice(id="came_back", words="came back"),
    Choice(id="copied", words="copied"),
    Choice(id="returned", words="went back to the owner"),
    Choice(id="sanitised", words="sanitised"),
)
FILES = (
    Choice(id="not_said", words="not said"),
    Choice(id="not_opened", words="not opened"),
    Choice(id="opened_as_agreed", words="opened as agreed"),
)

_FILLER = r"[^0-9a-z]{0,3}((code|is|was|to|unlock|it|for|the|number|of)[^0-9a-z]{1,3}){0,4}"
PASS_CODE_PATTERN = (
    r"\b(pin|puk|code|passcode|unlock|screen ?lock|pattern)\b" + _FILLER + r"[0-9]([ -]?[0-9]){3,11}\b"
    r"|\b(password|passcode|pass ?phrase|pwd|pw)\b[^0-9a-z]{0,2}"
    r"([:=] *[^\s]{3,}|(is|was) +[\"']?[^\s]{4,}|[^\s]*[0-9][^\s]*)"
)
"""Words that look as if they hold a pass code; the same text is a pattern in Python (ASCII) and in JavaScript,
without regard to capitals. "pin 28" and "code R214" are a board's and too short for it. It may ask once too often:
a warning costs a look, a code on a paper cannot be taken off it.
"""
PASS_CODE_WARNING = (
    "This looks like a pass code. None is ever kept: take it out. The owner types it in themselves, or it goes "
    "on paper that leaves with the device."
)


class HandBackTables(Model, frozen=True, kw_only=True):
    """What the phone gets of it as generated JSON."""

    consents: tuple[ConsentRow, ...]
    sanitised: tuple[SanitisedRow, ...]
    custody_of: tuple[Choice, ...]
    custody_events: tuple[Choice, ...]
    files: tuple[Choice, ...]
    pass_code_pattern: str
    pass_code_warning: str


HAND_BACK = HandBackTables(
    consents=CONSENTS,
    sanitised=SANITISED,
    custody_of=CUSTODY_OF,
    custody_events=CUSTODY_EVENTS,
    files=FILES,
    pass_code_pattern=PASS_CODE_PATTERN,
    pass_code_warning=PASS_CODE_WARNING,
)
