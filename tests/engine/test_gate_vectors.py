"""The make-safe gate of the engine meets the same vectors as the phone's: one rule, held equal in two places."""

import json
from pathlib import Path
from typing import Any, get_args

import msgspec
import pytest

from server.engine.reminders import gate_waits_for
from shared_models.board import Role
from shared_models.job import MakeSafeProof
from shared_models.tables import MAKE_SAFE_STEPS

VECTORS: list[dict[str, Any]] = [
    json.loads(path.read_text()) for path in sorted((Path(__file__).parents[1] / "vectors" / "gate").glob("*.json"))
]


def proofs_of(vector: dict[str, Any]) -> list[MakeSafeProof]:
    """A vector's proofs, read as strictly as a sheet's."""
    return msgspec.convert(vector["proofs"], list[MakeSafeProof])


@pytest.mark.parametrize("vector", VECTORS, ids=lambda vector: vector["name"])
def test_the_gate_waits_for_what_the_vector_says(vector: dict[str, Any]) -> None:
    assert set(vector["roles"]) <= set(get_args(Role))
    waits_for = gate_waits_for(vector["roles"], proofs_of(vector))
    assert list(waits_for) == vector["waits_for"], vector["why"]
    assert (not waits_for) is vector["open"]


@pytest.mark.parametrize("vector", VECTORS, ids=lambda vector: vector["name"])
def test_the_order_of_the_proofs_says_nothing(vector: dict[str, Any]) -> None:
    assert list(gate_waits_for(vector["roles"], reversed(proofs_of(vector)))) == vector["waits_for"]


def test_the_vectors_try_every_step_both_ways() -> None:
    required = {step.id for step in MAKE_SAFE_STEPS if step.required}
    assert {step for vector in VECTORS for step in vector["waits_for"]} == required
    assert any(vector["open"] for vector in VECTORS)
    assert not all(vector["open"] for vector in VECTORS)
