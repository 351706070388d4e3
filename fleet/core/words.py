"""A coded value that carries its words, so that a page, an error and a database column agree on them."""

from enum import StrEnum
from typing import Self


class Worded(StrEnum):
    """A string enumeration whose members are written `NAME = "value", "Label for people"`."""

    label: str

    def __new__(cls, value: str, label: str = "") -> Self:
        """Keep `value` as the string that is stored and `label` as the words that are shown.

        The default is for type checkers, which take `Condition("waiting")` for a call of this.
        """
        member = str.__new__(cls, value)
        member._value_ = value
        member.label = label
        return member

    @property
    def phrase(self) -> str:
        """The label as it stands inside a sentence."""
        return self.label[0].lower() + self.label[1:]
