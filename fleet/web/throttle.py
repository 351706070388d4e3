"""How often one caller may do one thing, counted in the cache."""

from typing import Final

from django.core.cache import cache

PREFIX: Final = "often:"


def too_often(what: str, limit: int, seconds: int) -> bool:
    """Count one more `what`; True once it was counted more than `limit` times in a span of `seconds`."""
    key = f"{PREFIX}{what}"
    cache.add(key, 0, seconds)
    try:
        return cache.incr(key) > limit
    except ValueError:  # the span ended between the two lines: this one is the first of the next
        cache.set(key, 1, seconds)
        return False
