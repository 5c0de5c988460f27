"""Where a shop's own database is, and in words why it cannot be used.

The address may hold a password: what is said never shows it.
"""

from collections.abc import Iterator
from contextlib import contextmanager
from typing import TYPE_CHECKING

from server.network.trouble import Trouble
from server.problems import Refusal
from shared_models.change import Problem

if TYPE_CHECKING:
    from server.store.shop_database import ShopDatabase

EXAMPLE = "postgresql://probe@db.lan/shop"
GOES_ON = "What was copied stays. Start again when it is back: it goes on where it stopped."


def checked(address: str) -> str:
    """The address, if it can be one.

    Raises:
        Refusal: it is none of PostgreSQL; Trouble: the driver is not installed.
    """
    try:
        from psycopg import ProgrammingError
        from psycopg.conninfo import conninfo_to_dict
    except ImportError as error:
        raise Trouble(
            "The driver for PostgreSQL is not installed.", "In Second Probe's environment: pip install '.[shop]'",
        ) from error
    try:
        if not address.startswith(("postgresql://", "postgres://")):
            raise ProgrammingError("it does not begin with postgresql://")
        conninfo_to_dict(address)
    except ProgrammingError as error:
        raise Refusal(400, Problem(
            code="no_such_address", message="This is no address of a PostgreSQL.", where="--to",
            given=address.partition("@")[2] or address, expected=f"postgresql://user@host:port/database ({error})",
            example=f"{EXAMPLE}, the password in ~/.pgpass or PGPASSWORD",
        )) from error
    return address


def place_of(address: str) -> str:
    """The host and database of an address, without user and password."""
    from psycopg.conninfo import conninfo_to_dict

    told = conninfo_to_dict(address)
    return f"{told.get('dbname', 'the database')} on {told.get('host', 'this machine')}"


@contextmanager
def in_words(place: str) -> Iterator[None]:
    """Whatever the database says, as a Trouble with the next step.

    Raises:
        Trouble: instead of what the driver raises.
    """
    import psycopg

    from server.store.shop_database import ShopDatabaseUnusable

    try:
        yield
    except ShopDatabaseUnusable as error:
        raise Trouble(error.what, error.do) from error
    except psycopg.errors.InsufficientPrivilege as error:
        raise Trouble(
            f"{place}: this user may not do that ({_first(error)}).",
            "The owner of the database: GRANT CREATE ON DATABASE shop TO probe",
        ) from error
    except psycopg.errors.DiskFull as error:
        raise Trouble(f"{place}: its disk is full ({_first(error)}).", GOES_ON) from error
    except psycopg.OperationalError as error:
        raise Gone(f"{place} cannot be reached ({_first(error)}).", GOES_ON) from error
    except psycopg.Error as error:
        raise Trouble(f"{place} said: {_first(error)}.", GOES_ON) from error


class Gone(Trouble):
    """It may come back."""


def _first(error: Exception) -> str:
    return (str(error).strip().splitlines() or [type(error).__name__])[0]


def opened(address: str) -> "ShopDatabase":
    """The database at an address, its tables brought up to date; raises as `in_words`."""
    from server.store.shop_database import ShopDatabase

    with in_words(place_of(address)):
        return ShopDatabase.open(address)
