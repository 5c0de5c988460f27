"""The OpenAPI document: the routes as the framework sees them, the Structs as msgspec says them.

Decides: that Structs are described by their own JSON Schema (tags, patterns and bounds included),
and that a route's body is the one its `opt` names. Only the JSON is served: the framework's pages
for people load scripts from elsewhere.
"""

import re
from collections.abc import Sequence
from typing import Any

import msgspec
from litestar import Litestar
from litestar.di import Provide
from litestar.handlers import BaseRouteHandler
from litestar.openapi import OpenAPIConfig, ResponseSpec

from server.access.edge import OPEN_ROUTES
from server.api.edge import TAKES
from shared_models.change import ProblemAnswer

PROBLEMS = {
    status: ResponseSpec(ProblemAnswer, description=words, generate_examples=False)
    for status, words in (
        (400, "something given cannot be used"),
        (401, "without the token of a paired phone"),
        (403, "not from here, or not this phone's to ask"),
        (404, "there is no such thing"),
        (413, "the body is too long"),
        (405, "the path has no such method"),
        (415, "the body is not said to be JSON"),
        (422, "what was sent can be read and not used"),
        (429, "too many wrong tries"),
        (507, "the server's disk is full"),
    )
}
"""The answers that are not a success, the same for every route."""

TAKES_BYTES = "takes_bytes"
"""The key under which a route's `opt` names the media types of a body that is a file."""

_REFS = "#/components/schemas/{name}"


def describe(
    routes: Sequence[BaseRouteHandler], dependencies: dict[str, Provide], version: str
) -> dict[str, Any]:
    """The OpenAPI document of `routes` as plain values."""
    # A second application that only writes: with a document of its own the first one would also
    # serve the framework's pages beside it.
    config = OpenAPIConfig(title="Second Probe", version=version, use_handler_docstrings=True)
    writer = Litestar(list(routes), dependencies=dict(dependencies), openapi_config=config, logging_config=None)
    document = writer.openapi_schema.to_schema()
    structs: list[Any] = [ProblemAnswer]
    for route in routes:
        returned = route.parsed_fn_signature.return_type
        structs += [returned.annotation, *(inner.annotation for inner in returned.inner_types)]
        if taken := route.opt.get(TAKES):
            structs.append(taken)
            for path in route.paths:
                document["paths"][path]["post"]["requestBody"] = {
                    "required": True,
                    "content": {"application/json": {"schema": {"$ref": _REFS.format(name=taken.__name__)}}},
                }
        if media_types := route.opt.get(TAKES_BYTES):
            for path in route.paths:
                operations = _at(document, path)
                operations["put" if "put" in operations else "post"]["requestBody"] = {
                    "required": True,
                    "content": {each: {"schema": {"type": "string", "format": "binary"}} for each in media_types},
                }
    structs = [kind for kind in structs if isinstance(kind, type) and issubclass(kind, msgspec.Struct)]
    _, described = msgspec.json.schema_components(structs, ref_template=_REFS)
    document["components"]["schemas"].update(described)
    _say_who_may_ask(document)
    return document


def _say_who_may_ask(document: dict[str, Any]) -> None:
    document["components"]["securitySchemes"] = {"token": {"type": "http", "scheme": "bearer"}}
    for path, methods in document["paths"].items():
        for method, operation in methods.items():
            operation["security"] = [] if (method.upper(), path) in OPEN_ROUTES else [{"token": []}]


def _at(document: dict[str, Any], path: str) -> dict[str, Any]:
    """The described path; a parameter's type is no part of its name there."""
    return document["paths"][re.sub(r":\w+}", "}", path)]
