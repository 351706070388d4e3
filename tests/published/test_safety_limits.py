"""The limits that come with the program against what is told of IEC 62353:2014 and NFPA 99-2005.

Neither standard was read for this. IEC 62353: from memory. NFPA 99-2005 (chassis leakage at most 300 µA, ground
resistance below 0.50 ohm): second-hand from a trade article. So each is compared with what the project's notes say, and
each must be unverified until a person holds it against the owned standard.
"""

from decimal import Decimal

import pytest

from fleet.bench.actions.reference import ensure_reference_limits
from fleet.bench.models import LimitProfile, ReferenceLimit
from fleet.bench.queries.reference import as_stated, limits_for
from fleet.core.limits import Verdict, verdict
from fleet.core.safety import Context, choose
from tests.builders import BY

pytestmark = pytest.mark.django_db

# (profile, quantity, class, applied part, method) and the bound in words, in the unit of the notes.
TOLD = [
    ("iec-62353", "earth_device", "1", "", "", "at most 0.2 Ω"),
    ("iec-62353", "earth_lead", "1", "", "", "at most 0.1 Ω"),
    ("iec-62353", "earth_both", "1", "", "", "at most 0.3 Ω"),
    ("iec-62353", "earth_fixed", "1", "", "", "at most 0.3 Ω"),
    ("iec-62353", "earth_system", "1", "", "", "at most 0.5 Ω"),
    ("iec-62353", "equipment", "1", "", "direct", "at most 500 µA"),
    ("iec-62353", "equipment", "1", "", "diff", "at most 500 µA"),
    ("iec-62353", "equipment", "1", "", "alt", "at most 1000 µA"),
    ("iec-62353", "equipment", "2", "CF", "direct", "at most 100 µA"),
    ("iec-62353", "equipment", "2", "", "diff", "at most 100 µA"),
    ("iec-62353", "equipment", "2", "", "alt", "at most 500 µA"),
    ("iec-62353", "applied_part", "1", "BF", "direct", "at most 5000 µA"),
    ("iec-62353", "applied_part", "2", "BF", "alt", "at most 5000 µA"),
    ("iec-62353", "applied_part", "2", "CF", "direct", "at most 50 µA"),
    ("iec-62353", "applied_part", "2", "CF", "alt", "at most 50 µA"),
    ("iec-62353", "insul_earth", "1", "", "", "at least 2 MΩ"),
    ("iec-62353", "insul_case", "2", "", "", "at least 7 MΩ"),
    ("iec-62353", "insul_part", "", "CF", "", "at least 70 MΩ"),
    ("nfpa-99", "touch", "1", "", "", "at most 300 µA"),
    ("nfpa-99", "earth_both", "1", "", "", "at most 0.5 Ω"),
]


@pytest.mark.parametrize(("profile", "quantity", "protection", "applied_part", "method", "words"), TOLD)
def test_the_seeded_limit_is_the_one_told(  # noqa: PLR0917 - the columns of a table
    profile: str, quantity: str, protection: str, applied_part: str, method: str, words: str
) -> None:
    """For the class, type and method it is stated for, the chosen limit has the value told, and is not verified."""
    ensure_reference_limits(BY)
    rows = limits_for(LimitProfile.objects.get(code=profile), quantity)
    limit = choose(rows, Context(protection, applied_part, method))
    assert limit is not None
    told = as_stated(limit, limit.unit)
    assert told.limits.words == words
    assert told.verified == ""
    assert "memory" in told.source or "second-hand" in told.source


@pytest.mark.parametrize(
    ("quantity", "context"),
    [
        ("earth_device", Context("2")),  # a class II device has no protective earth
        ("applied_part", Context("2", "B", "direct")),  # told as not applicable to type B
        ("applied_part", Context("2", "CF", "diff")),  # no differential method for an applied part
        ("equipment", Context("2")),  # the method is not known: nothing is guessed
        ("equipment", Context("", "CF", "direct")),  # nor is the class
    ],
)
def test_where_none_is_told_none_is_found(quantity: str, context: Context) -> None:
    """No limit of another class, type or method is taken instead."""
    ensure_reference_limits(BY)
    assert choose(limits_for(LimitProfile.objects.get(code="iec-62353"), quantity), context) is None


@pytest.mark.parametrize(("value", "is_"), [("0.5", Verdict.PASS), ("0.5001", Verdict.FAIL), ("0.4", Verdict.PASS)])
def test_the_limit_holds_in_another_unit(value: str, is_: Verdict) -> None:
    """500 µA are 0.5 mA exactly: a reading at the limit passes in either unit."""
    ensure_reference_limits(BY)
    limit = ReferenceLimit.objects.get(profile__code="iec-62353", quantity="equipment", protection="1", method="direct")
    assert verdict(Decimal(value), as_stated(limit, "mA").limits) is is_


def test_every_seed_names_its_source_and_unit() -> None:
    """Value, unit, source, edition and who entered it are there for each."""
    for limit in ensure_reference_limits(BY):
        assert limit.source
        assert limit.edition
        assert limit.unit in {"Ω", "MΩ", "µA"}
        assert limit.entered_name
        assert limit.verified_on is None
