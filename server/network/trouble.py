"""Why the server cannot do what it was told: a sentence, and the next step."""


class Trouble(Exception):
    """`what` happened, and what to `do` about it; nothing was changed."""

    def __init__(self, what: str, do: str) -> None:
        super().__init__(f"{what} {do}")
        self.what, self.do = what, do
