"""How small and how large the record's numbers may be, by kind of record: what the Structs themselves say, as data.

The phone keeps a record before any Struct has read it. A number beyond its bounds would be kept there, refused by the
shop, and stop every opinion that rests on it; so the phone asks this table first.
"""

from msgspec.inspect import FloatType, IntType, Metadata, StructType, Type, UnionType, VarTupleType, type_info

from shared_models.base import Model
from shared_models.change import ENTITY_TYPES, FACT_TYPES


class NumberLimit(Model, frozen=True, kw_only=True):
    """One number of a record: its fields from the outside in, and its bounds.

    `at` goes through lists without saying so: "options.work_h" is that of every option. `over` is a bound that the
    number must exceed, `least` and `most` are the smallest and the largest that are taken.
    """

    at: str
    over: float | None = None
    least: float | None = None
    most: float | None = None


def number_limits() -> dict[str, tuple[NumberLimit, ...]]:
    """The bounded numbers of every kind of record. What only one member of a union has is left out."""
    kinds = {**FACT_TYPES, **ENTITY_TYPES}
    return {kind: tuple(_limits_in(type_info(kinds[kind]), "")) for kind in sorted(kinds)}


def _limits_in(found: Type, at: str) -> list[NumberLimit]:
    match found:
        case Metadata():
            return _limits_in(found.type, at)
        case UnionType():
            members = [one for one in found.types if not isinstance(one, StructType)]
            structs = [one for one in found.types if isinstance(one, StructType)]
            # the tagged members of one place may each bound a field of one name in their own way
            members += structs if len(structs) == 1 else []
            return [limit for one in members for limit in _limits_in(one, at)]
        case VarTupleType():
            return _limits_in(found.item_type, at)
        case StructType():
            inside = [(one.encode_name, one.type) for one in found.fields]
            return [limit for name, kind in inside for limit in _limits_in(kind, f"{at}.{name}" if at else name)]
        case FloatType() | IntType():
            limit = NumberLimit(at=at, over=found.gt, least=found.ge, most=found.le)
            return [limit] if (found.gt, found.ge, found.le) != (None, None, None) else []
        case _:
            return []
