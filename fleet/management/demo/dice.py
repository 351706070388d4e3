"""Chance in the scenario: the same seed throws the same dice."""

from random import Random


class Dice(Random):
    """A seeded source of chance. It is no secret, and none is made with it."""

    def happens(self, share: float) -> bool:
        """Whether something that happens in this share of cases (0 to 1) happens now."""
        return self.random() < share
