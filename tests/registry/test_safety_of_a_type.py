"""What a type says of its protection against electric shock."""

import pytest

from fleet.people.models import Person
from tests.builders import a_type
from tests.pages import page

pytestmark = pytest.mark.django_db


@pytest.mark.parametrize(
    ("facts", "words"),
    [
        ({"protection": "2", "applied_part": "CF"}, "Class II, applied part of type CF"),
        ({"applied_part": "BF"}, "applied part of type BF"),
        ({"protection": "1"}, "Class I<"),
    ],
)
def test_class_and_applied_part_stand_on_its_page(facts: dict[str, str], words: str, technician: Person) -> None:
    """As they are stated, since the limits of safety tests depend on them."""
    assert words in page(technician, f"/registry/types/{a_type(**facts).pk}/")
