"""Who acts. Every action takes one `Actor`, so that pages, label links, commands and jobs leave the same trail."""

from dataclasses import dataclass
from enum import StrEnum

from fleet.core.errors import NotAllowedError
from fleet.core.permissions import May


class Source(StrEnum):
    """Through which door an act came in."""

    PAGE = "page"
    LABEL_LINK = "label link"
    IMPORT = "import"
    COMMAND = "command"
    JOB = "job"


@dataclass(frozen=True, slots=True)
class Actor:
    """Somebody or something that acts: a signed-in person, a reporter with a label link, a command or a job."""

    name: str
    source: Source
    duties: frozenset[May] = frozenset()
    person_id: int | None = None

    def must(self, duty: May) -> None:
        """Refuse in words unless the actor holds the duty."""
        if duty not in self.duties:
            msg = f"{self.name} may not do this. It needs the duty “{duty.label}”; a manager can arrange it."
            raise NotAllowedError(msg)

    def through(self, source: Source) -> "Actor":
        """The same actor, coming in by another door (a person's import, for example)."""
        return Actor(self.name, source, self.duties, self.person_id)


def job_actor(name: str) -> Actor:
    """A nightly job: it holds every duty, and the trail names it."""
    return Actor(f"job {name}", Source.JOB, frozenset(May))


def command_actor(name: str) -> Actor:
    """A management command, run by whoever may reach the server."""
    return Actor(f"command {name}", Source.COMMAND, frozenset(May))


def link_actor(asset_number: str) -> Actor:
    """A reporter who scanned a driver's label and has no account: may report a fault and nothing else."""
    return Actor(f"label of {asset_number}", Source.LABEL_LINK, frozenset({May.REPORT_FAULT}))
