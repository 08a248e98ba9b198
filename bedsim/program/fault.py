"""What a program cannot be used for: one line, one word, one rule."""

from __future__ import annotations

from bedsim.errors import InputError


class ProgramError(InputError):
    """A word or line that is not taken: `line` counts from 1 (0: the whole file), `word` as it stands
    there."""

    def __init__(self, line: int, word: str, rule: str) -> None:
        self.line, self.word, self.rule = line, word, rule
        super().__init__(f"{self.where}{rule}.")

    @property
    def where(self) -> str:
        """Line and word, before the rule; nothing of the whole file."""
        word = f", {self.word}" if self.word else ""
        return f"line {self.line}{word}: " if self.line else ""


def shown(text: bytes) -> str:
    """Bytes of a program as a message shows them: printable, and not long."""
    found = text.decode("ascii", "backslashreplace").strip()
    found = "".join(c if c.isprintable() else f"\\x{ord(c):02x}" for c in found)
    return found if len(found) <= 40 else found[:37] + "..."
