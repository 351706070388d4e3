"""The form of a procedure file in words, for its page; docs/procedure-files.md says the same."""

from typing import Final

from fleet.bench.models import OrderKind, Step
from fleet.core.safety import Quantity
from fleet.stores.models import Instrument

Rows = tuple[tuple[str, str], ...]

PROCEDURE_FIELDS: Final[Rows] = (
    ("name", "What it is called. Needed."),
    ("kind", f"The work it is for. Needed: {', '.join(OrderKind.values)}."),
    ("source", "Where it comes from: document and edition. Needed."),
    ("type", "The type of driver, as its page names it. Left out: for all types."),
    ("changes", "What this version changes, and why."),
    ("steps", "Its steps, in order. At least one must pass before return."),
)
FIELDS: Final[Rows] = (
    ("words", "What to do. Needed; at most 200 characters."),
    ("kind", f"One of {', '.join(Step.Kind.values)}. Left out: check."),
    ("caution", "What stands above the step before it is worked; “in the note” in it makes the note needed."),
    ("required", "false where the step may fail or be left out. Left out: true, it must pass before return."),
    ("unit", "Of a reading or computed reading. Needed there."),
    ("decimals", "The most decimals a reading may have, 0 to 6; a computed reading is shown with so many."),
    ("key", "The name of a reading in formulas: small letters, digits and _, a letter first."),
    ("formula", "Of a computed reading: numbers, names of earlier readings, + - * / ( ), min, max, abs, round."),
    ("low", "The lowest value that passes, itself included. Left out: no lower limit."),
    ("high", "The highest value that passes, itself included. Left out: no upper limit."),
    ("limit_source", "Where the limits come from. Needed with low or high."),
    ("limits", "Limits of single types, instead of low and high: a list, see below."),
    ("quantity", f"Judges by the reference limits, too: {', '.join(each.value for each in Quantity)}."),
    ("passing", "Of a choice: the options that pass."),
    ("failing", "Of a choice: the options that fail."),
    ("instrument_kind", f"The instrument that must be named: {', '.join(Instrument.Kind.values)}."),
)
LIMIT_FIELDS: Final[Rows] = (
    ("type", "The type of driver, as its page names it. Needed."),
    ("low", "As above."),
    ("high", "As above."),
    ("source", "Where it comes from. Needed."),
)
