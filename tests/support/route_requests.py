"""Requests to one route, thought of by schemathesis from the route's description.

schemathesis' own decorator thinks of every request of every route while pytest collects, in each worker anew: half a
minute of a core before the first test. Here the same is built when the test of a route runs. `build_operation_test`
is what that decorator calls; it is not promised to stay, and the lock file pins the version that has it.
"""

from collections.abc import Callable
from functools import cache
from typing import Any

import schemathesis
from hypothesis import HealthCheck, settings
from schemathesis.checks import load_all_checks
from schemathesis.core.failures import FailureGroup, as_reported_failure
from schemathesis.generation.feedback import FeedbackSources
from schemathesis.pytest._test_builder import build_operation_test
from schemathesis.schemas import BaseSchema

from server.app import describe_routes

ASKED_BY_HAND = ("POST /api/proof", "POST /api/short-rail")
"""Their bodies hold a board and its readings, as that of `/api/opinion` does: a minute of a core to think of each, and
nothing new in it. `tests/api/test_rail_and_proof_routes.py` asks them, valid, invalid and without a token."""

ROUTES = [
    f"{method.upper()} {path}"
    for path, methods in describe_routes()["paths"].items()
    for method in methods
    if f"{method.upper()} {path}" not in ASKED_BY_HAND
]
"""Every other route of the description: method and path."""


def try_route(route: str, examples: int, judge: Callable[[Any], None]) -> None:
    """Calls `judge` with each request: the description's examples, what lies on its edges, and `examples` drawn ones.

    Raises:
        AssertionError: what `judge` raised, or that no request was thought of.
    """
    schema = _schema()
    method, path = route.split()
    asked = 0

    def counted(case: Any) -> None:
        nonlocal asked
        asked += 1
        judge(case)

    test = build_operation_test(
        config=schema.config, operation=schema[path][method], given_kwargs={}, feedback=FeedbackSources(),
        test_func=settings(
            max_examples=examples,
            # by the clock, so it says how busy this machine is: a request to /api/overstress takes a second to think of
            suppress_health_check=[HealthCheck.too_slow],
        )(counted),
    )
    try:
        test()
    except FailureGroup as group:
        raise as_reported_failure(group) from None
    assert asked > 0, f"no request to {route}"


@cache
def _schema() -> BaseSchema:
    load_all_checks()
    return schemathesis.openapi.from_dict(describe_routes())
