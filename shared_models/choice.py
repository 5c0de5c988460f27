"""A choice and the words a person reads for each of its values."""

from shared_models.base import Model


class Choice(Model, frozen=True, kw_only=True):
    """One value of a choice and the words a person reads."""

    id: str
    words: str


def choices(pairs: dict[str, str]) -> tuple[Choice, ...]:
    """Each id with its words, in the order given."""
    return tuple(Choice(id=key, words=words) for key, words in pairs.items())
