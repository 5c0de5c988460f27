"""The one error of the engine: a sheet that cannot be judged at all.

Anything less is a question or a set-aside in the opinion. Also runs on the phone.
"""

from shared_models.change import Problem


class SheetError(ValueError):
    """A sheet the engine cannot read: says what was given, where, what was expected, and an example."""

    def __init__(self, code: str, message: str, *, where: str, given: str, expected: str, example: str) -> None:
        super().__init__(f"{where}: {message} (given {given}; expected {expected}; example: {example})")
        self.problem = Problem(code=code, message=message, where=where, given=given, expected=expected, example=example)
