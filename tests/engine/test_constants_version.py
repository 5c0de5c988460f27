"""A page says which numbers its opinion rests on: other numbers have another version."""

import hashlib
import importlib
import pkgutil

from server.engine import constants

VERSION, DIGEST = "2026.11.29", "d3a0403e10f1c6d9"


def numbers() -> str:
    """Every number of the package by its module and name; what says where it comes from is left out."""
    lines = []
    for found in pkgutil.iter_modules(constants.__path__):
        module = importlib.import_module(f"{constants.__name__}.{found.name}")
        lines += [
            f"{found.name}.{name} {value!r}"
            for name, value in sorted(vars(module).items()) if name.isupper() and name != "TABLE"
        ]
    return "\n".join(lines)


def test_other_numbers_have_another_version() -> None:
    digest = hashlib.sha256(numbers().encode()).hexdigest()[:16]
    assert (constants.CONSTANTS_VERSION, digest) == (VERSION, DIGEST), (
        "The numbers of server/engine/constants have changed: CONSTANTS_VERSION gets the date, and both stand here."
    )
