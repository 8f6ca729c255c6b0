"""The errors a person may meet.

BenchdryError
├── BadInput        something typed, sent or set is outside what is accepted
│   └── (kiln.errors.OutOfRange: a formula asked outside the range of its source)
└── Refused         a right input that cannot be done now, and why
"""

from __future__ import annotations


class BenchdryError(Exception):
    """Anything that a user can mend; its text is one clear sentence."""


class BadInput(BenchdryError):
    """A field whose value is not accepted; names the field, the value and what is accepted."""

    def __init__(self, field: str, value: object, accepted: str, proposal: str = "") -> None:
        """Say that ``field`` is ``value`` where ``accepted`` was wanted, and what would be accepted in its place."""
        shown = "empty" if value is None or value == "" else str(value)
        super().__init__(f"{field} is {shown}; accepted: {accepted}.")
        self.field, self.value, self.accepted, self.proposal = field, value, accepted, proposal


class Refused(BenchdryError):
    """What was asked is well formed but would break something; says what and how to go on."""
