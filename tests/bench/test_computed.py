"""Working the kinds of step: computed readings, choices and attached files."""

# ruff: noqa: RUF001 - signs as they are printed

from dataclasses import replace
from decimal import Decimal

import pytest
from django.core.files.uploadedfile import SimpleUploadedFile

from fleet.bench import actions as bench
from fleet.bench.models import Order, Reading, ReadingFile
from fleet.bench.queries import standing
from fleet.core.errors import BadValueError, MoveRefusedError
from fleet.core.orders import Outcome
from fleet.people.models import Person
from fleet.web.uploads import Upload
from tests.bench.builders import a_procedure, finish, fresh, put, received, signed_in
from tests.builders import a_device, a_type

pytestmark = pytest.mark.django_db

VOLUME = bench.NewStep(words="Volume in 30 min", kind="reading", unit="mL", key="volume", decimals=3)
SET = bench.NewStep(words="Set volume", kind="reading", unit="mL", key="wanted")
ERROR = bench.NewStep(
    words="Delivery error",
    kind="computed",
    unit="%",
    decimals=1,
    formula="100 * (volume - wanted) / wanted",
    low=Decimal(-5),
    high=Decimal(5),
    limit_source="house example, no source",
    key="error",
)
WORST = bench.NewStep(words="Its size", kind="computed", unit="%", formula="abs(error)", required=False)
LAMP = bench.NewStep(words="Lamp", kind="choice", passing=("green",), failing=("red", "dark"))
PHOTO = bench.NewStep(words="Photo", kind="file")
JPEG = b"\xff\xd8\xff\xe0" + b"picture" * 20


def an_order(technician: Person, *steps: bench.NewStep) -> Order:
    """A driver on the bench for an acceptance with these steps."""
    a_procedure("acceptance", steps, code="acceptance-list")
    return received(a_device(), technician, kind="acceptance")


def latest(order: Order, position: int) -> Reading | None:
    return Reading.objects.filter(order=order, step__position=position, latest=True).first()


def value(text: str) -> bench.Answer:
    return bench.Answer(value=text)


def test_a_computed_reading_comes_with_its_last_number_and_follows_a_change(technician: Person) -> None:
    """It is worked out when both numbers are there, judged, and made anew when one changes; both stay on record."""
    order = an_order(technician, VOLUME, SET, ERROR, WORST)
    put(order, 1, value("4.9"), technician)
    assert latest(order, 3) is None
    put(order, 2, value("5"), technician)
    first = latest(order, 3)
    assert first is not None
    assert (first.value, first.as_typed, first.verdict) == (Decimal(-2), "-2.0", "pass")
    assert first.worked == "100 × (4.9 − 5) ÷ 5"
    assert latest(order, 4).value == Decimal(2)
    put(order, 1, value("4.7"), technician)
    assert (latest(order, 3).as_typed, latest(order, 3).verdict) == ("-6.0", "fail")
    assert latest(order, 4).as_typed == "6"
    assert Reading.objects.filter(order=order, step__position=3).count() == 2


def test_a_failed_computed_step_stops_the_return(technician: Person) -> None:
    """A required computed reading outside its limits keeps the driver on the bench until a later one passes."""
    order = an_order(technician, VOLUME, SET, ERROR)
    put(order, 2, value("5"), technician)
    put(order, 1, value("4"), technician)
    with pytest.raises(MoveRefusedError, match="failed"):
        finish(order, technician, Outcome.NO_FAULT_FOUND)
    put(order, 1, replace(value("5.01"), changed="Balance set level"), technician)
    assert finish(order, technician, Outcome.NO_FAULT_FOUND).state == "done"


def test_without_a_number_it_stops_counting_and_says_what_is_missing(technician: Person) -> None:
    """A number taken back as not applicable opens the computed step again; asked for, it names what is missing."""
    order = an_order(technician, VOLUME, SET, ERROR)
    put(order, 1, value("4.9"), technician)
    put(order, 2, value("5"), technician)
    put(order, 2, bench.Answer(na=True, note="no set volume"), technician)
    assert latest(order, 3) is None
    assert standing(fresh(order)).missing == 1
    with pytest.raises(BadValueError, match="step 2 was not applicable"):
        put(order, 3, bench.Answer(), technician)
    put(order, 3, bench.Answer(na=True, note="cannot be set here"), technician)
    assert latest(order, 3).verdict == "na"


def test_a_division_by_zero_is_told_in_words(technician: Person) -> None:
    """No number comes of it, and the number that was typed is kept."""
    order = an_order(technician, VOLUME, SET, ERROR)
    put(order, 1, value("4.9"), technician)
    put(order, 2, value("0"), technician)
    assert latest(order, 2) is not None
    assert latest(order, 3) is None
    with pytest.raises(BadValueError, match="divide by zero"):
        put(order, 3, bench.Answer(), technician)


def test_a_computed_reading_is_never_shown_across_its_limit(technician: Person) -> None:
    """5.04 % fails at 5 % and is not shown as 5.0."""
    order = an_order(technician, VOLUME, SET, ERROR)
    put(order, 2, value("100"), technician)
    put(order, 1, value("105.04"), technician)
    assert (latest(order, 3).as_typed, latest(order, 3).verdict) == ("5.04", "fail")


def test_a_type_with_limits_of_its_own_is_judged_by_those(technician: Person) -> None:
    """The limits of the driver's type hold instead of those for all."""
    own = bench.OwnLimit(device_type=a_type(), low=Decimal(-1), high=Decimal(1), source="its manual")
    flow = bench.NewStep(
        words="Error", kind="reading", unit="%", low=Decimal(-5), high=Decimal(5), limit_source="house", limits=(own,)
    )
    order = an_order(technician, flow)
    assert put(order, 1, value("3"), technician).verdict == "fail"


def test_a_reading_finer_than_asked_for_is_refused(technician: Person) -> None:
    """Three decimals at most means that a fourth is refused, and fewer are taken as they are."""
    order = an_order(technician, VOLUME)
    with pytest.raises(BadValueError, match="at most 3 decimals"):
        put(order, 1, value("4.9001"), technician)
    assert put(order, 1, value("4.9"), technician).as_typed == "4.9"


def test_an_option_decides_whether_a_choice_passes(technician: Person) -> None:
    """Only an option of the step is taken; one that fails, fails the step."""
    order = an_order(technician, LAMP)
    with pytest.raises(BadValueError, match="Choose one of: green, red, dark"):
        put(order, 1, bench.Answer(chosen="blue"), technician)
    assert put(order, 1, bench.Answer(chosen="dark"), technician).verdict == "fail"
    assert put(order, 1, bench.Answer(chosen="green", changed="Lamp replaced"), technician).verdict == "pass"


@pytest.mark.parametrize(
    ("content", "said"),
    [(b"", "empty"), (b"MZ\x90\x00 a program", "neither a photo"), (b"<svg onload=alert(1)>", "neither a photo")],
)
def test_a_file_is_known_by_its_content_not_by_its_name(technician: Person, content: bytes, said: str) -> None:
    """A program or a page with a photo's name is refused, and nothing is kept."""
    order = an_order(technician, PHOTO)
    with pytest.raises(BadValueError, match=said):
        put(order, 1, bench.Answer(file=Upload("holiday.jpg", content)), technician)
    assert not Reading.objects.exists()
    with pytest.raises(BadValueError, match="Attach a photo"):
        put(order, 1, bench.Answer(), technician)


def test_a_photo_is_kept_and_given_back_under_a_name_of_our_own(technician: Person, outsider: Person) -> None:
    """The sender's name is words on a page; the file comes back as it was, as a download, to the site's people only."""
    order = an_order(technician, PHOTO, LAMP)
    sent = SimpleUploadedFile("../../etc/pass\nwd.jpg", JPEG, content_type="text/html")
    answer = {"revision": order.revision, "verdict": "pass", "file": sent}
    client = signed_in(technician)
    assert client.post(f"/bench/orders/{order}/steps/1/", answer).status_code == 302
    kept = ReadingFile.objects.get()
    assert "/" not in kept.name
    assert (kept.kind, kept.size) == ("image/jpeg", len(JPEG))
    address = f"/bench/orders/{order}/files/{kept.pk}/"
    given = client.get(address)
    assert given.content == JPEG
    assert given["Content-Type"] == "image/jpeg"
    assert given["Content-Disposition"] == f'attachment; filename="{order}-step-1.jpg"'
    assert given["X-Content-Type-Options"] == "nosniff"
    assert signed_in(outsider).get(address).status_code == 404
    assert address in client.get(f"/bench/orders/{order}/?step=1").content.decode()


def test_the_page_of_an_order_works_choices_and_computed_steps(technician: Person) -> None:
    """A choice is picked by its option; a computed step shows formula, numbers and what is missing."""
    order = an_order(technician, LAMP, VOLUME, SET, ERROR)
    client = signed_in(technician)
    page = client.get(f"/bench/orders/{order}/?step=4").content.decode()
    assert "step 2 has no value yet" in page
    assert "100 × (step 2 − step 3) ÷ step 3" in page
    for position, answer in ((1, {"verdict": "option-1"}), (2, {"verdict": "pass", "value": "4.5"}), (3, {"verdict": "pass", "value": "5"})):  # fmt: skip  # noqa: E501 - a table
        revision = fresh(order).revision
        done = client.post(f"/bench/orders/{order}/steps/{position}/", {"revision": revision, **answer}, follow=True)
    assert latest(order, 1).chosen == "red"
    said = done.content.decode()
    assert "Step 4: -10.0 %, fail; its limits are -5 to 5 %" in said
    assert "100 × (4.5 − 5) ÷ 5" in said
