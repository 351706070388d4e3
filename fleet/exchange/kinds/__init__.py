"""The kinds of file that are taken in and sent out, one module each."""

from typing import Final

from fleet.core.errors import BadValueError
from fleet.exchange.kinds import alerts, cycles, devices, packs, tests
from fleet.exchange.kinds.common import Change, Kind, Scope, Verdict, Weighed

KINDS: Final[dict[str, Kind]] = {module.KIND.code: module.KIND for module in (devices, packs, tests, alerts, cycles)}


def kind_of(code: str) -> Kind:
    """The kind of that code. Raises BadValueError that names the ones there are."""
    if code not in KINDS:
        raise BadValueError(f"There is no kind of file {code!r}. Known: {', '.join(KINDS)}.", field="kind")
    return KINDS[code]


__all__ = ["KINDS", "Change", "Kind", "Scope", "Verdict", "Weighed", "kind_of"]
