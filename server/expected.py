"""What is expected at a place of a Struct, in words, and an example that would be taken there.

Decides: the words for each kind of type. Reads the Structs' own annotations, so that no bound and
no choice is said a second time.
"""

from collections.abc import Sequence
from typing import Any

from msgspec import inspect

from shared_models import base, change, job, pairing

Step = str | int
"""One step of a path: a field's name or a place in a list."""

_NAMED_PATTERNS: dict[str | None, tuple[str, str]] = {
    inspect.type_info(named).pattern: words  # type: ignore[attr-defined]
    for named, words in (
        (base.Id, ("an id of 1 to 80 letters, digits and . _ : - that begins with a letter or digit", "r-1")),
        (base.ContactNumber, ("a contact's number of 1 to 8 letters and digits", "12")),
        (change.Hlc, ("15 digits of milliseconds, a dash, 5 digits of a counter", "001767225600000-00000")),
        (pairing.PhoneName, ("a name of 1 to 60 characters", "the phone at the window")),
        (pairing.CodeTyped, ("the eight characters of a code", "ABCD-2345")),
        (job.Photo.__annotations__["sha256"], ("a SHA-256 of 64 hexadecimal digits", "0" * 64)),
    )
}


def at_path(root: Any, path: Sequence[Step], given: Any) -> inspect.Type:
    """The type expected at `path` below `root`. `given` chooses among the members of a tagged union."""
    here = inspect.type_info(root)
    value: Any = given
    for step in path:
        here = _one_step(here, step, value)
        try:
            value = value[step]
        except (LookupError, TypeError):
            value = None
    return here


def _one_step(here: inspect.Type, step: Step, value: Any) -> inspect.Type:
    if isinstance(here, inspect.UnionType):
        structs = [member for member in here.types if isinstance(member, inspect.StructType)]
        if len(structs) > 1 and step == structs[0].tag_field:
            return inspect.LiteralType(tuple(member.tag for member in structs))  # type: ignore[arg-type]
        tag = value.get(structs[0].tag_field) if structs and isinstance(value, dict) else None
        fitting = [member for member in structs if len(structs) == 1 or member.tag == tag]
        containers = [member for member in here.types if isinstance(member, (inspect.VarTupleType, inspect.TupleType))]
        return _one_step((fitting or containers or [inspect.AnyType()])[0], step, value)
    if isinstance(here, inspect.StructType):
        if step == here.tag_field:
            return inspect.LiteralType((here.tag,))  # type: ignore[arg-type]
        return next((field.type for field in here.fields if field.encode_name == step), inspect.AnyType())
    if isinstance(here, (inspect.VarTupleType, inspect.ListType)):
        return here.item_type
    if isinstance(here, inspect.TupleType) and isinstance(step, int) and step < len(here.item_types):
        return here.item_types[step]
    if isinstance(here, inspect.DictType):
        return here.value_type
    return inspect.AnyType()


def in_words(expected: inspect.Type) -> str:
    """What is expected, for a person."""
    match expected:
        case inspect.LiteralType(values):
            return f"one of {quoted(values)}" if len(values) > 1 else quoted(values)
        case inspect.StrType():
            return _text_in_words(expected)
        case inspect.IntType() | inspect.FloatType():
            return _number_in_words(expected)
        case inspect.BoolType():
            return "true or false"
        case inspect.NoneType():
            return "null"
        case inspect.UnionType(types):
            tags = [member.tag for member in types if isinstance(member, inspect.StructType) and member.tag is not None]
            others = [in_words(member) for member in types if not (tags and isinstance(member, inspect.StructType))]
            whats = [f"an object whose `what` is one of {quoted(tags)}"] if tags else []
            return " or ".join(whats + others)
        case inspect.StructType(fields=fields, tag_field=tag_field):
            needed = [field.encode_name for field in fields if field.required]
            names = ", ".join(f"`{name}`" for name in ([tag_field] if tag_field else []) + needed)
            return f"an object with {names}" if names else "an object"
        case inspect.VarTupleType() | inspect.ListType():
            return f"a list, each of it {in_words(expected.item_type)}"
        case inspect.TupleType(item_types):
            return f"a list of {len(item_types)}, each of it {in_words(item_types[0])}"
        case inspect.DictType():
            return "an object"
        case _:
            return "a JSON value"


def example_of(expected: inspect.Type) -> Any:
    """The smallest value that is taken there."""
    match expected:
        case inspect.LiteralType(values):
            return values[0]
        case inspect.StrType(pattern=pattern, min_length=min_length):
            return _NAMED_PATTERNS[pattern][1] if pattern else "text"[: max(min_length or 4, 1)]
        case inspect.IntType() | inspect.FloatType():
            return _number_example(expected)
        case inspect.BoolType():
            return True
        case inspect.NoneType():
            return None
        case inspect.UnionType(types):
            return example_of(next((member for member in types if not isinstance(member, inspect.NoneType)), types[0]))
        case inspect.StructType(fields=fields, tag_field=tag_field, tag=tag):
            needed = {field.encode_name: example_of(field.type) for field in fields if field.required}
            return ({tag_field: tag} if tag_field else {}) | needed
        case inspect.TupleType(item_types):
            return [example_of(item) for item in item_types]
        case inspect.VarTupleType() | inspect.ListType():
            return []
        case _:
            return {}


def field_names(expected: inspect.Type, given: Any) -> list[str]:
    """The fields an object may have here, the tag first; of a tagged union those of the given member."""
    if isinstance(expected, inspect.UnionType):
        structs = [member for member in expected.types if isinstance(member, inspect.StructType)]
        tagged = [s for s in structs if isinstance(given, dict) and s.tag_field and given.get(s.tag_field) == s.tag]
        return field_names((tagged or structs or [inspect.AnyType()])[0], given)
    if isinstance(expected, inspect.StructType):
        return ([expected.tag_field] if expected.tag_field else []) + [field.encode_name for field in expected.fields]
    return []


def quoted(values: Sequence[Any]) -> str:
    """Choices as they are written in JSON, one after the other."""
    return ", ".join(f'"{value}"' if isinstance(value, str) else str(value) for value in values)


def _text_in_words(expected: inspect.StrType) -> str:
    if expected.pattern in _NAMED_PATTERNS:
        return _NAMED_PATTERNS[expected.pattern][0]
    if expected.max_length is not None:
        return f"text of at most {expected.max_length} characters"
    return "text"


def _number_in_words(expected: inspect.IntType | inspect.FloatType) -> str:
    words = "a whole number" if isinstance(expected, inspect.IntType) else "a number"
    bounds = (("from", expected.ge), ("above", expected.gt), ("to", expected.le), ("below", expected.lt))
    return " ".join([words, *(f"{word} {bound:.15g}" for word, bound in bounds if bound is not None)])


def _number_example(expected: inspect.IntType | inspect.FloatType) -> int | float:
    low, high = expected.ge, expected.le
    if expected.gt is not None:
        between = isinstance(expected, inspect.FloatType) and expected.lt is not None
        low = (expected.gt + expected.lt) / 2 if between and expected.lt is not None else expected.gt + 1
    value = max(low, 0) if low is not None else 0
    return min(value, high) if high is not None else value
