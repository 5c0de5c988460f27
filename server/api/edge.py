"""Where bodies come in and errors go out, for every route.

Decides: that a body is JSON by its own header, at most `BODY_LIMIT_BYTES` long and decoded strictly;
and that every answer that is not a success is a `ProblemAnswer`, without the server's internals.
"""

import logging
import re
import sqlite3
from typing import Any, get_args

import msgspec
from litestar import Request, Response
from litestar.exceptions import (
    HTTPException,
    InternalServerException,
    MethodNotAllowedException,
    NotFoundException,
    ValidationException,
)
from litestar.exceptions.http_exceptions import RequestEntityTooLarge

from server.engine.errors import SheetError
from server.expected import quoted
from server.problems import Refusal, shown, strict_json
from server.store.database import is_disk_full
from shared_models.change import Problem, ProblemAnswer
from shared_models.reading import Stage
from shared_models.sheet import Mode

BODY_LIMIT_BYTES = 8_000_000
"""A longer body is refused before it is read. A shop's whole board is under 0.3 MB; a device sends
its outbox in portions."""

TAKES = "takes"
"""The key under which a route's `opt` names the Struct of its body."""

QUERY = {
    "ref": ("the name of a part on the board", "J1"),
    "after": ("a whole number from 0: the cursor", "0"), "limit": ("a whole number from 1 to 1000", "500"),
    "mode": (f"one of {quoted(get_args(Mode))}", "guided"),
    "stage": (f"one of {quoted(get_args(Stage))}", "before_repair"),
}
"""What is expected of each query parameter, and an example."""

_log = logging.getLogger(__name__)


async def body_of(request: Request[Any, Any, Any]) -> Any:
    """The body, decoded strictly into what the route says it takes; raises like `json_text_of`, and
    `Refusal` 400 with the path for what cannot be read.
    """
    return strict_json(await json_text_of(request), request.route_handler.opt[TAKES])


async def json_text_of(request: Request[Any, Any, Any]) -> bytes:
    """The body's bytes, once it is said to be JSON.

    The framework's own `data` argument is not used: it turns bodies into plain values first and
    converts those leniently, so "5" passes for 5 and a kept body loses its bytes.

    Raises:
        Refusal: 415 for another type than JSON; 400 `line_cut`, which nobody reads.
    """
    given, _ = request.content_type
    if given != "application/json":
        raise Refusal(415, Problem(
            code="not_json_type", message="The body must be said to be JSON.", where="the header Content-Type",
            given=shown(given), expected="application/json", example="Content-Type: application/json",
        ))
    try:
        return await request.body()
    except InternalServerException as error:  # the framework's word for a client that went away
        raise Refusal(400, Problem(
            code="line_cut", message="The body broke off in the middle.", where="the whole body",
            given="a part of it", expected="all of it", example="send it again: what is here already is not doubled",
        )) from error


def refuse_options(request: Request[Any, Any, Any]) -> None:
    """Before every route: pages from elsewhere have nothing to ask here, and the framework's own
    answer to OPTIONS names only some of a path's methods."""
    if request.method == "OPTIONS":
        raise MethodNotAllowedException


def answer_error(request: Request[Any, Any, Any], error: Exception) -> Response[bytes]:
    """Any error as a `ProblemAnswer`. One that nobody foresaw is logged and answered without details."""
    refusal = error if isinstance(error, Refusal) else _refusal_for(request, error)
    if refusal.status >= 500:
        _log.error("%s %s failed", request.method, request.url.path, exc_info=error)
    body = msgspec.json.encode(ProblemAnswer(status=refusal.status, problem=refusal.problem))
    return Response(body, status_code=refusal.status, media_type="application/json", headers=refusal.headers)


def _refusal_for(request: Request[Any, Any, Any], error: Exception) -> Refusal:
    path = request.url.path
    match error:
        case RequestEntityTooLarge():
            return Refusal(413, _too_large(request), {"Connection": "close"})
        case NotFoundException() if path == "/":
            return Refusal(404, Problem(
                code="app_not_built", message="The server runs, but the app is not built here.", where="the path",
                given=path, expected="the built app in the folder the server was given", example="python3 demo",
            ))
        case NotFoundException():
            return Refusal(404, Problem(
                code="no_such_route", message="There is nothing at this address.", where="the path",
                given=path, expected="a path of /schema/openapi.json", example="/api/health",
            ))
        case MethodNotAllowedException():
            allowed = ", ".join(sorted(_methods_at(request)))
            return Refusal(405, Problem(
                code="wrong_method", message=f"{request.method} is not answered at this address.", where="the method",
                given=request.method, expected=allowed, example=allowed.split(", ")[0],
            ), {"Allow": allowed})
        case ValidationException():
            return Refusal(400, _query_problem(request, error))
        case SheetError():
            return Refusal(422, error.problem)
        case sqlite3.OperationalError() if is_disk_full(error):
            return Refusal(507, Problem(
                code="disk_full", message="The server's disk is full; what was sent stays on the phone.",
                where="the server's record", given=str(error), expected="free space on its disk",
                example="free some space on the shop's PC, then send it again",
            ))
        case HTTPException(status_code=status) if status < 500:
            return Refusal(status, Problem(code="refused", message=error.detail, where=path))
        case _:
            return Refusal(500, Problem(
                code="internal", message="The server failed here; its own log says why. Nothing was half stored.",
                where=path,
            ))


def _too_large(request: Request[Any, Any, Any]) -> Problem:
    limit = request.route_handler.resolve_request_max_body_size() or BODY_LIMIT_BYTES
    is_file = limit != BODY_LIMIT_BYTES  # only a route that takes files has a limit of its own
    return Problem(
        code="too_large", message=f"The body is longer than {limit} bytes.", where="the whole body",
        given=f"{request.headers.get('content-length', f'more than {limit}')} bytes", expected=f"at most {limit} bytes",
        example="send a smaller file" if is_file else "send changes in smaller batches",
    )


def _methods_at(request: Request[Any, Any, Any]) -> set[str]:
    path = request.url.path.rstrip("/") or "/"
    routes = [route for route in request.app.routes if re.fullmatch(re.sub(r"{\w+:str}", "[^/]+", route.path), path)]
    return {method for route in routes for method in getattr(route, "methods", ())} - {"OPTIONS"}


def _query_problem(request: Request[Any, Any, Any], error: ValidationException) -> Problem:
    """A parameter that is missing or wrong: the framework names it in `extra` or in its message."""
    if given := request.path_params.get("sha256"):
        return Problem(
            code="wrong_value", message="The address does not name a picture.", where="path.sha256",
            given=shown(given), expected="a SHA-256 of 64 hexadecimal digits", example=f"/api/photos/{'0' * 64}",
        )
    extra = error.extra if isinstance(error.extra, list) and error.extra else [{}]
    key = extra[0].get("key") or next((name for name in QUERY if f"'{name}'" in error.detail), "")
    given = request.query_params.get(key)
    words, example = QUERY.get(key, ("what the description of this route says", ""))
    return Problem(
        code="missing_field" if given is None else "wrong_value",
        message=f"The query parameter `{key}` cannot be used.", where=f"query.{key}",
        given="nothing" if given is None else given, expected=words, example=f"{request.url.path}?{key}={example}",
    )
