"""A real PostgreSQL for this folder, a database of its own for each test, and a filled record."""

import shutil
from collections.abc import Iterator
from itertools import count
from pathlib import Path

import psycopg
import pytest

from demo.fill import fill
from tests.support.postgres import PostgresProcess, programs

MADE = count()


@pytest.fixture(scope="session")
def postgres() -> Iterator[PostgresProcess]:
    """One server for all tests."""
    found = programs()
    if found is None:
        pytest.skip("no PostgreSQL: apt-get install -y --no-install-recommends postgresql")
    process = PostgresProcess(found)
    process.start()
    yield process
    process.delete()


@pytest.fixture
def address(postgres: PostgresProcess) -> str:
    """An empty database."""
    return new_database(postgres)


def new_database(postgres: PostgresProcess, how: str = "") -> str:
    """Makes an empty database; its address."""
    name = f"shop_{next(MADE)}"
    with psycopg.connect(postgres.address(), autocommit=True) as connection:
        connection.execute(f"CREATE DATABASE {name} {how}".encode())
    return postgres.address(name)


@pytest.fixture(scope="session")
def filled(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The invented shop's record, once; tests that write take a copy."""
    folder = tmp_path_factory.mktemp("filled") / "data"
    fill(folder)
    return folder


@pytest.fixture
def record(filled: Path, tmp_path: Path) -> Path:
    """A copy of the invented shop's record."""
    return Path(shutil.copytree(filled, tmp_path / "data"))
