"""Marks: each condition as a word and a shape of its own, so that colour never speaks alone.

The shapes are symbols in `templates/marks/sprite.html`, which every page carries once.
"""

from typing import Final

from django.utils.html import format_html
from django.utils.safestring import SafeString

from fleet.core.lifecycle import Condition

CONDITION_SHAPES: Final[dict[Condition, str]] = {
    Condition.IN_SERVICE: "in-service",
    Condition.OUT_OF_USE: "tagged",
    Condition.ON_BENCH: "on-bench",
    Condition.WAITING: "waiting",
    Condition.NOT_LOCATED: "not-located",
    Condition.RETIRED: "retired",
}

#: Every other mark and the word it stands for when the page gives none.
SHAPES: Final[dict[str, str]] = {
    "quarantine": "Quarantine",
    "harm": "Harm reported",
    "late": "Late",
    "due": "Due now",
    "coming": "Coming",
    "deferred": "Deferred",
    "alert": "Alert open",
    "pass": "Pass",
    "fail": "Fail",
    "caution": "Caution",
    "none": "None",
    "twice": "Already here",
    "missing": "Missing",
    "training": "Training only",
    "in-use": "In use",
    "likely-used": "Likely in use",
    "idle": "Idle",
    "likely-idle": "Likely idle",
    "unknown": "Not known",
    "away": "Away",
    "soon": "Ends soon",
    "ended": "Ended",
}


def mark(shape: str, words: str = "") -> SafeString:
    """Draw one of `SHAPES` with its words beside it; raises `KeyError` naming a shape that doesn't exist."""
    return _marked(shape, words or SHAPES[shape])


def condition_mark(condition: str, detail: str = "", pool: str = "") -> SafeString:
    """Draw a driver's condition; `detail` (what it waits for) follows the word. Raises `ValueError` on another word.

    `pool`: given where a driver of the training pool is to be marked as such beside it.
    """
    known = Condition(condition)
    drawn = _marked(CONDITION_SHAPES[known], f"{known.label}: {detail}" if detail else known.label)
    training = training_mark(pool)
    return format_html("<span>{} {}</span>", drawn, training) if training else drawn


def training_mark(pool: str) -> SafeString:
    """Draw that a driver is for training only, if its pool says so; nothing for any other pool."""
    return mark("training") if pool == "training" else SafeString()


def _marked(shape: str, words: str) -> SafeString:
    return format_html(
        '<span class="marked marked-{0}"><svg class="mark" aria-hidden="true"><use href="#mark-{0}"/></svg>{1}</span>',
        shape,
        words,
    )
