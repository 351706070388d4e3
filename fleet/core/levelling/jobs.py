"""What is to be levelled: jobs, the visits they make together, and the bench that has so many minutes a week."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from math import floor

from fleet.core.errors import BadValueError

_ROUNDING = 1e-9


@dataclass(frozen=True, slots=True)
class Job:
    """One piece of planned work. Weeks count from 0, the first week of the span; both ends of the window are in.

    `late`: its window has closed already; it is wanted as early as possible and its weeks are not read.
    """

    device: int
    ward: int
    first: int
    due: int
    last: int
    minutes: int
    late: bool = False


@dataclass(frozen=True, slots=True)
class Visit(Job):
    """Jobs of one driver that are done together: `jobs` are their places in the list that was given."""

    jobs: tuple[int, ...] = field(kw_only=True)


@dataclass(frozen=True, slots=True)
class Bench:
    """Who does the work: minutes there are in each week (0: closed), and how many drivers each ward has.

    `most_away` is the largest share of a ward's drivers that may be away in one week, `shares` that of wards with their
    own; one driver may always be. Raises BadValueError for no week, minutes below 0 or a share outside 0 to 1.
    """

    minutes: tuple[int, ...]
    drivers: Mapping[int, int]
    most_away: float
    shares: Mapping[int, float] = field(default_factory=dict)

    def __post_init__(self) -> None:
        """Refuse what is no bench."""
        if not self.minutes or min(self.minutes) < 0 or not any(self.minutes):
            raise BadValueError("Give at least one week with hours, and none below 0.", field="minutes")
        if not all(0 <= share <= 1 for share in (self.most_away, *self.shares.values())):
            raise BadValueError("The share of a ward's drivers lies between 0 and 1.", field="most_away")

    @property
    def weeks(self) -> int:
        """How many weeks there are."""
        return len(self.minutes)

    def spares(self, ward: int) -> int:
        """How many drivers the ward may have away in one week, never below 1."""
        return max(1, floor(self.shares.get(ward, self.most_away) * self.drivers.get(ward, 0) + _ROUNDING))


def visits_of(jobs: Sequence[Job], weeks: int) -> list[Visit]:
    """Join the jobs of each driver into as few visits as their windows allow, in order of driver and week.

    A visit's window is what its jobs' windows have in common, so none is moved out of its own. Taking the jobs by the
    end of their windows and joining each to the visit whose end it still reaches gives the fewest visits (the classic
    rule for stabbing intervals). A late job takes with it what could be done in week 0; such a visit keeps the
    window's end of the jobs that are not late.

    Raises BadValueError for a window that lies outside the span or is out of order.
    """
    for job in jobs:
        if not job.late and not 0 <= job.first <= job.due <= job.last < weeks:
            raise BadValueError(f"The window {job.first} to {job.last} does not lie in weeks 0 to {weeks - 1}.")
    by_device: dict[int, list[int]] = {}
    for at, job in enumerate(jobs):
        by_device.setdefault(job.device, []).append(at)
    return [visit for device in sorted(by_device) for visit in _joined(jobs, by_device[device], weeks)]


def _joined(jobs: Sequence[Job], held: Sequence[int], weeks: int) -> list[Visit]:
    groups: list[list[int]] = []
    reach = -1
    for at in sorted(held, key=lambda each: (_end(jobs[each]), each)):
        job = jobs[at]
        if groups and (job.late or job.first <= reach):
            groups[-1].append(at)
        else:
            groups.append([at])
            reach = _end(job)
    return [_visit(jobs, group, weeks) for group in groups]


def _end(job: Job) -> int:
    return 0 if job.late else job.last


def _visit(jobs: Sequence[Job], group: Sequence[int], weeks: int) -> Visit:
    rows = [jobs[at] for at in group]
    timely = [job for job in rows if not job.late]
    late = len(timely) < len(rows)
    first = max((job.first for job in timely), default=0)
    last = min((job.last for job in timely), default=weeks - 1)
    due = 0 if late else min(max(min(job.due for job in timely), first), last)
    minutes = sum(job.minutes for job in rows)
    return Visit(rows[0].device, rows[0].ward, first, due, last, minutes, late, jobs=tuple(group))
