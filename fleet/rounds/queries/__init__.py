"""What is due where, how a round stands, and what to carry along."""

from fleet.rounds.queries.carrying import Carry, carry
from fleet.rounds.queries.due import ToDo, missing_at, to_do, to_do_of
from fleet.rounds.queries.standing import (
    InUse,
    Met,
    RoundPage,
    latest_stop,
    places,
    round_page,
    rounds,
    wards_of,
)

__all__ = [
    "Carry",
    "InUse",
    "Met",
    "RoundPage",
    "ToDo",
    "carry",
    "latest_stop",
    "missing_at",
    "places",
    "round_page",
    "rounds",
    "to_do",
    "to_do_of",
    "wards_of",
]
