"""One value of a choice, as tables give it to a screen."""

from shared_models.base import Model


class Choice(Model, frozen=True, kw_only=True):
    """One value of a choice and the words a person reads."""

    id: str
    words: str
