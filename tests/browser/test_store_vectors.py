"""The two rules that exist twice, held to the same vectors in the browser as on the server."""

import json
from pathlib import Path
from typing import Any

import pytest
from playwright.sync_api import Page

from tests.browser.server_process import ROOT

VECTORS = ROOT / "tests" / "vectors"


def _all(folder: str) -> list[Any]:
    return [pytest.param(path, id=path.stem) for path in sorted((VECTORS / folder).glob("*.json"))]


@pytest.mark.parametrize("folder", ["gate", "apply"])
def test_there_are_vectors_to_hold_the_phone_to(folder: str) -> None:
    assert len(_all(folder)) > 5


@pytest.mark.parametrize("path", _all("gate"))
def test_the_gate_opens_and_shuts_as_the_vectors_say(bare_page: Page, path: Path) -> None:
    vector = json.loads(path.read_text())
    given = bare_page.evaluate(
        """({ roles, proofs }) => {
          const { open, waits_for } = inside.gate(inside.tables.make_safe_steps, roles, proofs);
          return { open, waits_for };
        }""",
        vector,
    )
    assert given == {"open": vector["open"], "waits_for": vector["waits_for"]}, vector["why"]


@pytest.mark.parametrize("path", _all("apply"))
def test_changes_in_any_order_give_the_record_the_vectors_say(bare_page: Page, path: Path) -> None:
    vector = json.loads(path.read_text())
    for order in vector["orders"]:
        state = bare_page.evaluate(
            "(changes) => inside.stateAfter(changes)", [vector["changes"][place] for place in order]
        )
        wanted = vector["state"]
        wanted = {**wanted, "removed": sorted(wanted["removed"]), "newer": sorted(wanted["newer"])}
        assert state == wanted, f"order {order}: {vector['why']}"
