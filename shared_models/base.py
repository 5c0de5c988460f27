"""What every Struct here has in common: strictness, the version mark, and the small named types.

Decides: that unknown fields are refused (a body of a newer version is never decoded with these
Structs at all, see EVOLUTION.md), that Structs are frozen, and that times are whole milliseconds.
Leaves to others: everything with a meaning of its own.
"""

from typing import Annotated

from msgspec import Meta, Struct

BODY_V = 2
"""The version of everything in this package. A body whose `v` is above it was made by a newer app."""

Id = Annotated[str, Meta(min_length=1, max_length=80, pattern=r"^[A-Za-z0-9][A-Za-z0-9._:\-]*$(?!\n)")]
"""A name of a record: a UUIDv7 made by the device that made the record, or a readable id.

`(?!\\n)`: in Python, unlike in JavaScript, `$` also matches before a last line break.
"""

ContactNumber = Annotated[str, Meta(min_length=1, max_length=8, pattern=r"^[A-Za-z0-9]+$(?!\n)")]
"""A contact's number as printed: text, since `A5` and `07` are numbers of contacts too."""

Words = Annotated[str, Meta(max_length=2000)]
"""Free text a person typed."""

EpochMs = Annotated[int, Meta(ge=0, le=253_402_300_799_999)]
"""Milliseconds since 1970-01-01 UTC, to the end of the year 9999."""

AirC = Annotated[float, Meta(ge=-60, le=120)]
"""Air temperature in degrees Celsius. Wider than any bench: absurd values are asked about, not lost."""


class Model(Struct, frozen=True, kw_only=True, forbid_unknown_fields=True, omit_defaults=True, gc=False):
    """The base of every Struct: frozen, by keyword, strict about unknown fields, short on the wire.

    `gc=False`: what is made of JSON holds nothing that leads back to it, so Python need not look for such circles in
    thousands of readings again and again.
    """


class Tagged(Model, frozen=True, tag_field="what"):
    """The base of every member of a union: the field `what` says which member it is."""
