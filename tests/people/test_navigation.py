"""The navigation: each entry leads somewhere, and is offered to exactly those whom its page lets in."""

import pytest
from django.urls import resolve, reverse

from fleet.people.navigation import ENTRIES, Entry


@pytest.mark.parametrize("entry", ENTRIES, ids=lambda entry: entry.label)
def test_an_entry_is_offered_to_whom_its_page_lets_in(entry: Entry) -> None:
    """The duties of an entry are those of its page's guard, so that no link ends in a refusal and no page is hidden."""
    guarded_by = resolve(reverse(entry.name)).func.guarded_by
    assert set(entry.duties) == set(guarded_by)
