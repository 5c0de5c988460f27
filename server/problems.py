"""The one shape of an error: what was given, where, what was expected, and an example that works.

Decides: how an error of the strict decoder becomes a `Problem`. The routes, the command and the
change log's door all refuse through here, so that one mistake is told in one way everywhere.
"""

import re
from functools import lru_cache
from typing import Any, TypeVar

import msgspec

from server import expected
from shared_models.change import Problem

T = TypeVar("T")

GIVEN_SHOWN = 120
"""Characters of the given value that are shown."""

NOTHING = object()
"""In place of a value that cannot be shown: a number too large for any, a place that is not there."""


class Refusal(Exception):
    """Something given from outside cannot be used. `status` is the HTTP status that says so."""

    def __init__(self, status: int, problem: Problem, headers: dict[str, str] | None = None) -> None:
        super().__init__(problem.message)
        self.status = status
        self.problem = problem
        self.headers = headers or {}


@lru_cache(maxsize=512)
def _decoder(wanted: Any) -> msgspec.json.Decoder[Any]:
    """Made once for each type: making one takes longer than most decoding."""
    return msgspec.json.Decoder(wanted)


def strict_json(raw: bytes | msgspec.Raw, wanted: type[T] | Any, root: str = "") -> T:
    """Decodes JSON strictly: unknown fields, wrong types and coerced values are refused.

    `root` is the name that paths begin with (`body` gives `body.record.touch`).

    Raises:
        Refusal: 400 with the path of the first thing that is wrong.
    """
    try:
        try:
            return _decoder(wanted).decode(raw)
        except msgspec.ValidationError as error:
            # Broken text further on, or depth, is told first: this decode raises what is below.
            raise Refusal(400, _of_wrong_value(error, _plain(raw), wanted, root)) from error
    except (msgspec.DecodeError, UnicodeDecodeError) as error:
        raise Refusal(400, _of_broken_text(error, bytes(raw), wanted, root)) from error
    except RecursionError as error:
        raise Refusal(400, Problem(
            code="too_deep", message="The JSON is nested too deeply to be read.", where=root or "the whole body",
            given="hundreds of levels of [ or {", expected="a few levels", example=_as_json(_example(wanted)),
        )) from error


def shown(value: Any) -> str:
    """A value as JSON, cut to what fits a line."""
    if value is NOTHING:
        return "what cannot be shown"
    try:
        text = msgspec.json.encode(value).decode()
    except (msgspec.MsgspecError, TypeError, UnicodeEncodeError, RecursionError):
        text = repr(value)
    return text if len(text) <= GIVEN_SHOWN else text[: GIVEN_SHOWN - 1] + "…"


def written(root: str, path: list[expected.Step]) -> str:
    """A path as people write it: `body.record.touch.contact`, `readings[3].as_typed`."""
    text = root
    for step in path:
        text += f"[{step}]" if isinstance(step, int) else (f".{step}" if text else step)
    return text or "the whole body"


def _as_json(example: Any) -> str:
    return msgspec.json.encode(example).decode()


def _example(wanted: Any) -> Any:
    return expected.example_of(expected.at_path(wanted, [], None))


def _path_of(message: str) -> list[expected.Step]:
    """The path at the end of a decoder's message: "... - at `$.a[0].b`"."""
    found = re.search(r" - at `\$([^`]*)`$", message)
    steps = re.findall(r"\.([^.\[]+)|\[(\d+)\]", found[1]) if found else []
    return [int(place) if place else name for name, place in steps]


def _plain(raw: bytes | msgspec.Raw) -> Any:
    """The plain values of a JSON text; NOTHING where a number in it is too large for any."""
    try:
        return msgspec.json.decode(raw)
    except msgspec.ValidationError:
        return NOTHING


def _at(value: Any, path: list[expected.Step]) -> Any:
    try:
        for step in path:
            value = value[step]
    except (LookupError, TypeError):
        return NOTHING
    return value


def _of_wrong_value(error: msgspec.ValidationError, whole: Any, wanted: Any, root: str) -> Problem:
    message = str(error)
    path = _path_of(message)
    what = re.sub(r" - at `\$[^`]*`$", "", message)
    value = _at(whole, path)
    here = expected.at_path(wanted, path, whole)
    if unknown := re.fullmatch(r"Object contains unknown field `(.*)`", what, re.DOTALL):
        name = unknown[1]
        names = ", ".join(f"`{field}`" for field in expected.field_names(here, value))
        return Problem(
            code="unknown_field", message=f"There is no field `{name}` here.", where=written(root, [*path, name]),
            given=shown(_at(value, [name])), expected=f"only the fields {names}",
            example=_as_json(expected.example_of(here)),
        )
    if missing := re.fullmatch(r"Object missing required field `(.*)`", what):
        place = [*path, missing[1]]
        here = expected.at_path(wanted, place, whole)
        return Problem(
            code="missing_field", message=f"The field `{missing[1]}` is missing.", where=written(root, place),
            given="nothing", expected=expected.in_words(here), example=_as_json(expected.example_of(here)),
        )
    words = expected.in_words(here)
    return Problem(
        code="wrong_value", message=f"{shown(value)} cannot be used here.", where=written(root, path),
        given=shown(value), expected=words, example=_as_json(expected.example_of(here)),
    )


def _of_broken_text(error: Exception, raw: bytes, wanted: Any, root: str) -> Problem:
    example = _as_json(_example(wanted))
    if not raw.strip():
        return Problem(
            code="empty", message="There is nothing to read.", where=root or "the whole body",
            given="nothing", expected="JSON", example=example,
        )
    if isinstance(error, UnicodeDecodeError):
        # The decoder counts from the beginning of the string it was in, so the place is found anew.
        message, byte = "The text is not UTF-8.", _first_bad_byte(raw)
    else:
        found = re.search(r"\(byte (\d+)\)", str(error))
        message, byte = f"The JSON is broken: {error}.", int(found[1]) if found else len(raw)
    around = raw[max(byte - 20, 0) : byte + 20].decode("utf-8", "replace")
    return Problem(
        code="not_json", message=message, where=f"{root or 'the whole body'}, byte {byte}",
        given=around, expected="JSON", example=example,
    )


def _first_bad_byte(raw: bytes) -> int:
    try:
        raw.decode()
    except UnicodeDecodeError as error:
        return error.start
    return 0
