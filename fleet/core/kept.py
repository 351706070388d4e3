"""An answer that a screen kept until the server had it: its name for good, and when it was given."""

from dataclasses import dataclass
from datetime import datetime, timedelta
from typing import Final

#: An answer that waited less than this on a screen counts as given when it came in (our own choice).
AT_ONCE: Final = timedelta(minutes=1)


@dataclass(frozen=True, slots=True)
class Kept:
    """One answer of a screen: its key, empty where it has none, and how long it waited there.

    The wait is the screen's own measure, so a screen whose clock is wrong dates nothing wrongly.
    """

    key: str = ""
    held: timedelta = timedelta(0)

    @property
    def waited(self) -> bool:
        """Whether it came in later than it was given."""
        return self.held >= AT_ONCE

    def given_at(self, now: datetime, since: datetime) -> datetime:
        """When it was given: before `now` by its wait, and never before `since`."""
        return max(now - self.held, since) if self.waited else now
