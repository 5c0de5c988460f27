"""The OpenAPI document, and requests made from it: what it promises is what the server does."""

from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest
from litestar.testing import AsyncTestClient
from schemathesis.specs.openapi.checks import ignored_auth, missing_required_header, positive_data_acceptance

from server.access.access import Access
from server.access.edge import OPEN_ROUTES
from server.app import create_routes
from server.sync.accept import Vocabulary
from tests.support.route_requests import ROUTES, try_route
from tests.sync.process import ServerProcess, free_port

EXAMPLES_A_ROUTE = 12
EXAMPLES_WITHOUT_A_TOKEN = 5
UNSAID = ("/api/opinion", "/api/discharge", "/api/overstress", "/api/pin-table", "/api/photos/{sha256}",
          "/api/board-files", "/api/meter-sheet", "/api/meter-pair", "/api/reference-file",
          "/api/closing-facts")


@pytest.fixture(scope="module")
def server_process(tmp_path_factory: pytest.TempPathFactory) -> Iterator[ServerProcess]:
    """One real server for all generated requests."""
    server = ServerProcess(tmp_path_factory.mktemp("described") / "data", free_port())
    server.data_dir.mkdir()
    server.start()
    yield server
    server.stop()


@pytest.mark.parametrize("route", ROUTES)
def test_every_route_keeps_to_its_description(route: str, server_process: ServerProcess) -> None:
    # that a sheet's socket is one of its board's, no schema can say, and impossible values are the engine's
    # to refuse, with a sentence: both are answered 422
    # many wrong tokens at once are answered 429 in the end; without a token is the next test's
    unsaid = [ignored_auth, missing_required_header]
    unsaid += [positive_data_acceptance] if route.split()[1] in UNSAID else []

    def keeps(case: Any) -> None:
        # put into the request itself: beside it, one without a token would still be judged as one to be refused
        case.headers = {**_without_token(case), "Authorization": f"Bearer {server_process.token}"}
        case.call_and_validate(base_url=f"http://127.0.0.1:{server_process.port}", excluded_checks=unsaid)

    try_route(route, EXAMPLES_A_ROUTE, keeps)


@pytest.mark.parametrize("route", ROUTES)
def test_without_a_token_no_door_is_open(route: str, server_process: ServerProcess) -> None:
    def is_shut(case: Any) -> None:
        case.headers = _without_token(case)
        answer = case.call(base_url=f"http://127.0.0.1:{server_process.port}")
        if (case.method, case.operation.path) in OPEN_ROUTES:
            assert answer.status_code < 500
            return
        assert answer.status_code == 401
        if case.method != "HEAD":
            assert answer.json()["problem"]["code"] == "not_paired"

    try_route(route, EXAMPLES_WITHOUT_A_TOKEN, is_shut)


def _without_token(case: Any) -> dict[str, Any]:
    return {name: value for name, value in (case.headers or {}).items() if name.lower() != "authorization"}


async def test_the_description_names_every_route_and_no_other(client: AsyncTestClient[Any], tmp_path: Path) -> None:
    paths = (await client.get("/schema/openapi.json")).json()["paths"]
    described = {(method.upper(), path) for path, methods in paths.items() for method in methods}
    routes = create_routes(tmp_path / "other", Vocabulary(), Access()).routes
    served = {
        (method, route.path.replace(":str", "")) for route in routes for method in getattr(route, "methods", ())
        if method != "OPTIONS"
    }
    assert served - {("GET", "/schema/openapi.json")} == described


async def test_the_description_is_whole_and_reaches_nowhere_else(client: AsyncTestClient[Any]) -> None:
    answer = await client.get("/schema/openapi.json")
    document = answer.json()
    own_words = ("http://json-schema.org", '{"type":"http","scheme":"bearer"}')
    assert "http" not in answer.text.replace(own_words[0], "").replace(own_words[1], "")
    schemas = document["components"]["schemas"]
    for name in _references(document):
        assert name in schemas, name
    assert schemas["AtContact"]["properties"]["what"] == {"enum": ["contact"]}
    assert document["paths"]["/api/changes"]["post"]["requestBody"]["content"]["application/json"]["schema"] == {
        "$ref": "#/components/schemas/SentBatch"
    }
    for methods in document["paths"].values():
        for operation in methods.values():
            told = operation["responses"]["400"]["content"]["application/json"]["schema"]
            assert told == {"$ref": "#/components/schemas/ProblemAnswer"}
            assert operation["description"]


def _references(value: Any) -> Iterator[str]:
    if isinstance(value, dict):
        if isinstance(value.get("$ref"), str):
            yield value["$ref"].rsplit("/", 1)[1]
        for inner in value.values():
            yield from _references(inner)
    elif isinstance(value, list):
        for inner in value:
            yield from _references(inner)
