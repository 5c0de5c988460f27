"""How a phone gets into the shop: a code that works once, then a token of its own.

Decides: what is asked and answered. A code or a token is in a body once, when it is made; nothing that is
kept or listed holds one.
"""

from typing import Annotated, Literal

from msgspec import Meta

from shared_models.base import EpochMs, Id, Model

PhoneRole = Literal["owner", "technician"]
"""An owner pairs and revokes phones; everything else a technician may do too."""

PhoneName = Annotated[str, Meta(min_length=1, max_length=60, pattern=r"\S")]
PersonName = Annotated[str, Meta(max_length=80)]

CodeTyped = Annotated[str, Meta(min_length=1, max_length=40, pattern=r"^[A-Za-z0-9 -]*$(?!\n)")]
"""Eight characters; capitals or not, spaces and dashes between them do not matter."""


class Phone(Model, frozen=True, kw_only=True):
    """A phone that was paired. `last_synced_at_ms`: when it last sent or fetched the record."""

    id: Id
    name: str
    technician: str = ""
    role: PhoneRole
    paired_at_ms: EpochMs
    last_synced_at_ms: EpochMs | None = None
    revoked_at_ms: EpochMs | None = None


class CodeWanted(Model, frozen=True, kw_only=True):
    """An owner wants a code for one more phone: what it is called here, who works with it, what it may do."""

    phone_name: PhoneName
    technician: PersonName = ""
    role: PhoneRole = "technician"


class CodeMade(Model, frozen=True, kw_only=True):
    """A code that pairs one phone, once, until `expires_at_ms`.

    `link` opens the app with the code behind the `#`, which no server ever sees; `qr` draws the link as rows
    of 0 (light) and 1 (dark), without the quiet edge.
    """

    code: str
    expires_at_ms: EpochMs
    link: str
    qr: tuple[str, ...]


class CodeSaid(Model, frozen=True, kw_only=True):
    """A phone says the code it was given."""

    code: CodeTyped


class Paired(Model, frozen=True, kw_only=True):
    """The phone is in. `token` goes in the header `Authorization: Bearer TOKEN` of all it asks from now on."""

    token: str
    phone: Phone


class Me(Model, frozen=True, kw_only=True):
    """Which phone asks, and at which addresses the shop's server is reached, the one to hand out first.

    `elsewhere`: where its app may look for the shop should its own address no longer answer.
    """

    phone: Phone
    addresses: tuple[str, ...]
    elsewhere: tuple[str, ...] = ()


class PhoneList(Model, frozen=True, kw_only=True):
    """Every phone that was ever paired, the newest first; revoked ones too."""

    phones: tuple[Phone, ...]
