"""One tree of errors. Each message is written for the person who reads it, and says what would be right."""


class BenchwardError(Exception):
    """Any refusal Benchward gives on purpose. `str(error)` is fit to show on a page."""


class MoveRefusedError(BenchwardError):
    """A driver may not move from its condition in the way asked."""


class NotAllowedError(BenchwardError):
    """The person lacks the duty that the act needs."""


class BadValueError(BenchwardError):
    """A value is not usable. `field` names it; the message says what would be right."""

    def __init__(self, message: str, *, field: str = "") -> None:
        super().__init__(message)
        self.field = field


class ConflictError(BenchwardError):
    """Somebody else changed the record since it was read."""


class NotEnoughDataError(BenchwardError):
    """A computation would have to invent its answer."""
