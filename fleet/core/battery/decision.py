"""What to do about a pack at its visits: replace it, call it in, test it, or leave it be."""

from fleet.core.words import Worded


class Advice(Worded):
    """The advice, in the order of urgency. Never an instruction: maker and local policy decide."""

    REPLACE_NOW = "replace", "Replace now"
    CALL_IN = "call_in", "Call in before its visit"
    REPLACE_AT_VISIT = "at_visit", "Replace at the next visit"
    TEST_NOW = "test", "Test at the next visit"
    SKIP_TEST = "skip", "Next test may be skipped"
    WAIT = "wait", "Leave it in"
