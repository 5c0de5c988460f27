"""The repair proved: each contact before and after it side by side, and what was not read again.

Asked with a BenchSheet that holds the readings of both stages; an answer is two opinions laid beside each other.
"""

from typing import Literal

from shared_models.base import BODY_V, Id, Model
from shared_models.opinion import Band, Reminder, Verdict
from shared_models.reading import DisplayUnit, LeadOnGround, Place, ReadingKind, Steadiness, Subject, Touch

ProofOutcome = Literal[
    "mended",
    "changed",
    "newly_odd",
    "not_read_again",
    "not_settled",
    "still_odd",
    "as_before",
    "only_after",
    "unread",
]
"""What became of a contact.

`mended`: odd before, as healthy boards now. `changed`: odd both times, in another way, or it climbs now and did not
(or the other way round). `newly_odd`: fine before. `not_read_again`: odd before, and nobody looked. `not_settled`:
odd now on one touch. `still_odd`: the same verdict as before. `as_before`: fine both times. `only_after`: fine now,
never read before. `unread`: fine before and not read again, or never read.
"""


class ProofSide(Model, frozen=True, kw_only=True):
    """One contact at one stage: the verdict and the number it rests on (millivolts, or `reads_ol`)."""

    verdict: Verdict
    drop_mv: float | None = None
    reads_ol: bool = False
    steadiness: Steadiness | None = None
    touches: int = 0
    touch_again: bool = False
    lead_on_ground: LeadOnGround = "red"
    reading_ids: tuple[Id, ...] = ()


class ProofContact(Model, frozen=True, kw_only=True):
    """One contact before and after; None on a side that was not read. `band` is what a healthy one reads."""

    contact: str
    name: str = ""
    before: ProofSide | None = None
    after: ProofSide | None = None
    band: Band
    outcome: ProofOutcome
    sentence: str


class ProofPlace(Model, frozen=True, kw_only=True):
    """A reading at another place than a contact's spring (across a fuse, a rail's ohms), before and after, as typed.

    Nothing is judged of it here. Empty text: not read at that stage.
    """

    touch: Touch
    kind: ReadingKind
    subject: Subject = "board_socket"
    place: Place = "spring"
    lead_on_ground: LeadOnGround | None = "red"
    before_typed: str = ""
    before_unit: DisplayUnit | None = None
    after_typed: str = ""
    after_unit: DisplayUnit | None = None
    reading_ids: tuple[Id, ...] = ()


class RepairProof(Model, frozen=True, kw_only=True):
    """The answer. `contacts` in the order to look at them: what changed, what was not read again, what differs.

    `proven`: something was odd before, all of it was read again, cool, and reads as healthy boards do. The lists name
    contacts: `still_odd` everything that differs now, `read_again_first` what to read, anchors first, then what was
    odd, then what lies beside it. `places` are all other readings. `sentences` sum it up; `reminders` are asked before
    and after reading.
    """

    engine_version: str
    constants_version: str
    sheet_id: Id
    started: bool
    proven: bool
    contacts: tuple[ProofContact, ...]
    mended: tuple[str, ...] = ()
    not_read_again: tuple[str, ...] = ()
    still_odd: tuple[str, ...] = ()
    read_again_first: tuple[str, ...] = ()
    places: tuple[ProofPlace, ...] = ()
    sentences: tuple[str, ...] = ()
    reminders: tuple[Reminder, ...] = ()
    v: int = BODY_V
