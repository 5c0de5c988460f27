"""What a benchmark promises, and whether it held in this run."""


class Bars:
    """Collects found values beside their bars; `verdict` prints them all."""

    def __init__(self) -> None:
        self._missed = 0
        self._lines: list[str] = []

    def at_most(self, what: str, found: float, bar: float, unit: str) -> None:
        """A bar from above."""
        self._note(what, found, bar, unit, "at most", holds=found <= bar)

    def at_least(self, what: str, found: float, bar: float, unit: str) -> None:
        """A bar from below."""
        self._note(what, found, bar, unit, "at least", holds=found >= bar)

    def _note(self, what: str, found: float, bar: float, unit: str, word: str, *, holds: bool) -> None:
        self._missed += not holds
        self._lines.append(f"  {'holds ' if holds else 'MISSED'}  {what}: {found:.3g} {unit} ({word} {bar:g})")

    def verdict(self) -> int:
        """Prints the bars; 1 when one was missed."""
        print("bars")
        print("\n".join(self._lines))
        return 1 if self._missed else 0
