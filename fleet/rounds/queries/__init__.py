"""What is due where, how a round stands, and what to carry along."""

from fleet.rounds.queries.carrying import Carry, carry
from fleet.rounds.queries.due import ToDo, missing_at, to_do, to_do_of
from fleet.rounds.queries.standing import (
    Met,
    RoundPage,
    idle_first,
    latest_stop,
    places,
    round_page,
    rounds,
    wards_of,
)
from fleet.rounds.queries.use import Sign, signs

__all__ = [
    "Carry",
    "Met",
    "RoundPage",
    "Sign",
    "ToDo",
    "carry",
    "idle_first",
    "latest_stop",
    "missing_at",
    "places",
    "round_page",
    "rounds",
    "signs",
    "to_do",
    "to_do_of",
    "wards_of",
]
