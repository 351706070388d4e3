"""What `manage.py demo` refuses, and what it leaves behind when it is stopped: nothing."""

import pytest
from django.core.management import CommandError, call_command

from fleet.management.demo.build import build
from fleet.management.demo.diary import local
from fleet.people.models import Person
from fleet.registry.models import Device, Place
from tests.demo.built import FEW, SEED, UNTIL, run

pytestmark = pytest.mark.django_db


@pytest.mark.parametrize(
    ("options", "words"),
    [
        (["--devices", "7"], "give 40 to 1000000"),
        (["--devices", "many"], "give 40 to 1000000"),
        (["--until", "2999-01-01"], "lies ahead"),
        (["--until", "18.3.2026"], "write it as YYYY-MM-DD"),
    ],
)
def test_a_wrong_option_is_refused_in_words(options: list[str], words: str) -> None:
    """Nothing is built for a number or a day that makes no sense."""
    with pytest.raises(CommandError, match=words):
        call_command("demo", *options)
    assert not Device.objects.exists()


def test_nobody_to_sign_in_is_said() -> None:
    """--sign-ins in a database without the demonstration says so, and makes nobody up."""
    assert "nobody of the demonstration" in run(sign_ins=True)
    assert not Person.objects.exists()


@pytest.mark.slow
def test_a_build_that_is_stopped_leaves_nothing() -> None:
    """Ctrl-C in mid-build leaves the database as it was, so that the next start builds the hospital whole."""

    def stop_early(done: float) -> None:
        assert Device.objects.exists()
        if done > 0.1:
            raise KeyboardInterrupt

    with pytest.raises(KeyboardInterrupt):
        build(FEW, seed=SEED, end=local(UNTIL, 17), progress=stop_early)
    assert not Device.objects.exists()
    assert not Person.objects.exists()
    assert not Place.objects.exists()
