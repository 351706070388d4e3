"""Procedures as plain files: written and read again they say the same; a wrong one is named by step and field."""

import tomllib
from decimal import Decimal
from pathlib import Path

import pytest
from django.conf import settings
from hypothesis import HealthCheck, given
from hypothesis import settings as tries
from hypothesis import strategies as st

from fleet.bench import actions as bench
from fleet.bench.models import Procedure, ProcedureVersion, Step
from fleet.bench.queries.lines import lines_of
from fleet.bench.queries.stated import as_text, read_stated, step_table, written
from fleet.bench.queries.stating import FIELDS, LIMIT_FIELDS, PROCEDURE_FIELDS
from fleet.core.errors import BadValueError
from fleet.people.models import Person
from fleet.registry.models import DeviceType
from tests.bench.builders import a_procedure, as_actor, signed_in
from tests.bench.test_computed import ERROR, LAMP, PHOTO, SET, VOLUME
from tests.builders import BY, a_type

pytestmark = pytest.mark.django_db

GOOD = """
[ours]
name = "Ours"
kind = "planned"
source = "our list"

[[ours.steps]]
words = "Look"

[[ours.steps]]
words = "Flow"
kind = "reading"
unit = "%"
low = -5
high = 5
limit_source = "house"
"""


def all_kinds() -> ProcedureVersion:
    """A version with every kind of step and everything a step can hold."""
    own = bench.OwnLimit(device_type=a_type(), low=Decimal("-2.5"), source='its "manual", page 4')
    flow = bench.NewStep(
        words='Flow at 5 mL/h, "after" start-up\\',
        kind="reading",
        key="flow",
        unit="µA",
        decimals=2,
        low=Decimal("-0.125"),
        high=Decimal(5),
        limit_source="house",
        limits=(own,),
        quantity="equipment",
        instrument_kind="safety",
        caution="Careful\x7f",
        required=False,
    )
    return a_procedure("planned", (VOLUME, SET, ERROR, LAMP, PHOTO, flow), device_type=a_type())


def test_a_procedure_comes_back_as_it_went_out() -> None:
    """Saved as a file and read again, every step, limit, option and formula is the same, and so is its head."""
    version = all_kinds()
    stated = read_stated(as_text([version]))
    assert len(stated) == 1
    assert list(stated[0].lines) == lines_of(version)
    assert (stated[0].code, stated[0].name, stated[0].device_type) == ("planned-list", "Our planned list", a_type())
    assert bench.import_drafts(as_text([version]), by=BY) == []


TEXTS = st.text(st.characters(codec="utf-8", exclude_categories=["Cs"]), max_size=40)


@tries(suppress_health_check=[HealthCheck.function_scoped_fixture], max_examples=60)
@given(words=TEXTS, options=st.lists(TEXTS, max_size=4), low=st.decimals(-9999, 9999, places=4))
def test_no_text_and_no_number_is_bent_by_writing_it(words: str, options: list[str], low: Decimal) -> None:
    """Whatever letters a step holds, TOML's own reader reads them back."""
    a_type()
    line = bench.NewStep(words=words, passing=tuple(options), low=low)
    version = ProcedureVersion(procedure=Procedure(code="c", name=words, kind="planned"), number=1, source=words)
    text = "[[c.steps]]\n" + "\n".join(line for line in as_text_of(line))
    step = tomllib.loads(text, parse_float=Decimal)["c"]["steps"][0]
    assert step["words"] == words
    assert step.get("passing", []) == options
    assert Decimal(step["low"]) == low
    assert str(version)


def as_text_of(line: bench.NewStep) -> list[str]:
    """The lines that a file holds of a step."""
    return [f"{name} = {written(value)}" for name, value in step_table(line).items()]


@pytest.mark.parametrize(
    ("wrong", "said"),
    [
        ("ours", "no TOML"),
        ("", "No procedure stands"),
        (GOOD.replace('name = "Ours"\n', ""), r"\[ours\]: it needs name"),
        (GOOD.replace('kind = "planned"', 'kind = "tidy"'), r"\[ours\], kind: “tidy” is no kind"),
        (GOOD.replace('source = "our list"', 'source = "x"\ncolour = "red"'), "“colour” is not known"),
        (GOOD.replace('unit = "%"\n', ""), "Step 2, “Flow”, unit: a reading needs its unit"),
        (GOOD.replace("low = -5", 'low = "5"'), r"\[ours\], step 2, low: write a number"),
        (GOOD.replace("low = -5", "low = true"), r"\[ours\], step 2, low: write a number"),
        (GOOD.replace("low = -5", "low = 9"), "Step 2, “Flow”, low: the lower limit 9 lies above"),
        (GOOD.replace("low = -5", "low = -5.00001"), "Step 2, “Flow”, low: .*at most 4 decimals"),
        (GOOD.replace("low = -5", "low = nan"), "Step 2, “Flow”, low"),
        (GOOD.replace('"Look"', '"Look"\nrequired = "no"'), "step 1, required: write true or false"),
        (GOOD.replace('"Look"', '"Look"\nkind = "choice"\npassing = ["a"]'), "Step 1, “Look”, passing: a choice needs"),
        (
            GOOD.replace('"Look"', '"Look"\nkind = "computed"\nunit = "%"\nformula = "flow * 2"'),
            "Step 1, “Look”, formula",
        ),
        (GOOD.replace('"Look"', '"Look"\nlimits = [{ type = "x" }]'), "step 1, limits: a limit of a type has"),
        (GOOD.replace('"Look"', '"Look"\nwho = "me"'), "step 1, who: “who” is not known"),
        (GOOD.replace('"Look"', f'"{"x" * 201}"'), "Step 1, .*words: 201 characters are too many"),
        (GOOD.replace("our list", " "), "where the procedure comes from"),
        (GOOD + GOOD.replace("ours", "two").replace('unit = "%"\n', ""), r"\[two\]"),
    ],
)
def test_a_wrong_file_is_named_by_step_and_field_and_nothing_is_written(wrong: str, said: str) -> None:
    """What is wrong is told with procedure, step and field; not even the good procedures of the file are taken in."""
    with pytest.raises(BadValueError, match=said):
        bench.import_drafts(wrong, by=BY)
    assert not Procedure.objects.exists()
    assert not Step.objects.exists()


def test_a_file_makes_drafts_on_its_page(technician: Person) -> None:
    """Sent on the page a file becomes a draft by whoever sent it; a wrong one is told beside the field."""
    client = signed_in(technician)
    refused = client.post("/bench/procedures/import/", {"pasted": GOOD.replace('unit = "%"\n', "")})
    assert refused.status_code == 422
    assert "Step 2, “Flow”, unit" in refused.content.decode()
    assert client.post("/bench/procedures/import/", {"pasted": GOOD}).status_code == 302
    draft = ProcedureVersion.objects.get()
    assert (draft.state, draft.begun_by, list(draft.writers.all())) == ("draft", str(technician), [technician])
    saved = client.get("/bench/procedures/ours/file/")
    assert read_stated(saved.content.decode())[0].lines == read_stated(GOOD)[0].lines


def test_a_draft_that_is_open_is_not_written_over(technician: Person) -> None:
    """A file for a procedure that somebody is writing is refused with who does."""
    bench.import_drafts(GOOD, by=as_actor(technician))
    with pytest.raises(BadValueError, match="being written already, begun by Tova Lindqvarn"):
        bench.import_drafts(GOOD.replace("Look", "Look twice"), by=BY)


def test_every_field_of_the_form_is_documented() -> None:
    """The page and docs/procedure-files.md name each field that a file may hold."""
    text = (Path(settings.BASE_DIR) / "docs" / "procedure-files.md").read_text(encoding="utf-8")
    told = {name for name, _ in (*PROCEDURE_FIELDS, *FIELDS, *LIMIT_FIELDS)}
    assert set(bench.NewStep.__slots__) <= told
    assert all(f"`{name}`" in text for name in told)
    assert all(f"`{kind}`" in text for kind in Step.Kind.values)
    assert DeviceType.objects.count() == 0
