"""The whole record of one driver leaves nothing out: what people read, what programs read, and the files."""

import io
import json
import zipfile
from collections.abc import Iterator
from hashlib import sha256
from typing import Any

import pytest
from django.apps import apps
from django.db import models

from fleet.audit.models import TrailEntry
from fleet.batteries.models import Pack
from fleet.bench.actions.flow import record_flow_test, record_occlusion_test
from fleet.bench.models import Order, Reading, ReadingFile
from fleet.people.models import Person
from fleet.people.roles import Role
from fleet.registry.models import Device
from fleet.reports.queries.whole import pointing_to, whole
from fleet.tags.actions import open_quarantine
from tests.bench.builders import a_procedure, attach, received, work
from tests.bench.test_flow import CLOSED, GOOD
from tests.builders import BY, a_device, a_person, a_site
from tests.contracts.builders import a_contract
from tests.loans.builders import a_loan, a_pool_driver
from tests.pages import page, signed_in
from tests.reports.builders import a_rich_device

pytestmark = pytest.mark.django_db

#: What belongs to no driver, with the reason. A model that is neither here nor reached from the driver fails the test.
BESIDE = {
    "packpurchase": "of a type",
    "notice": "of many drivers; what it asks of one is part", "edition": "of a notice", "noticefile": "of a notice",
    "criterion": "of a notice",
    "contract": "of a company; one that lists the driver is part, tested below", "retentionrule": "of the house",
    "training": "of a person", "trainingpolicy": "of a place",
    "absence": "of a person", "recoverycode": "of a person", "signinrule": "of the house",
    "accessentry": "of people", "accessory": "belongs to the type; what is missing of it is part",
    "alertkind": "shared words", "backtest": "of a type", "calibration": "of an instrument",
    "chemistrylife": "of a chemistry", "closeddays": "of a place", "counter": "numbers to give out",
    "coveragesnapshot": "of places", "delivery": "of many drivers; its line is part", "deliverylimit": "of a type",
    "devicetype": "of many drivers", "digestsent": "of a person", "houserule": "of the house",
    "instrument": "of many drivers", "intake": "a file of many", "job": "of the house", "kitline": "of a procedure",
    "labourrate": "of the house", "levelling": "of a site", "library": "of many drivers",
    "libraryversion": "of many drivers; what it carries is part", "limitpolicy": "of a place",
    "limitprofile": "of the house", "pack": "of the stays that are part, tested below", "packsupply": "of a type",
    "part": "of many drivers", "party": "of many drivers", "person": "who acted stands with each act",
    "place": "of many drivers", "placecalendar": "of a place", "plan": "of a type", "procedure": "of many drivers",
    "procedureversion": "of many drivers", "purchase": "of a part", "ratedruntime": "of a type",
    "referencelimit": "of the house", "requirement": "of a place", "retirementmethod": "of the house",
    "riskclass": "of the house", "risklimit": "of the house", "round": "of a place; its stop is part",
    "seal": "of the trail", "shelf": "of a part", "step": "of a procedure", "steplimit": "of a procedure",
    "trailentry": "told by its number, tested below", "typeidentifier": "of a type", "typeoutlook": "of a type",
    "typerisk": "of a type",
}  # fmt: skip


@pytest.fixture(scope="module")
def driver(standing: None) -> Device:
    """A driver with something in most rooms: an order in work with readings, a file and tests, a quarantine."""
    technician = a_person(Role.TECHNICIAN, "Tova Lindqvarn", (a_site(),))
    a_procedure("corrective")
    device = a_rich_device()
    order = received(device, technician, kind="corrective")
    photo = attach(order, b"\xff\xd8\xffpicture")
    ReadingFile.objects.update(sha256=sha256(photo.content).hexdigest())
    work(order, technician)
    record_flow_test(order, GOOD, by=BY)
    record_occlusion_test(order, CLOSED, by=BY)
    open_quarantine(device, reason="A pump ran on after its end", by=BY)
    return device


@pytest.fixture
def reader() -> Person:
    """Somebody of the site who may read reports."""
    return a_person(Role.MANAGER, "Maud Ferrant", (a_site(),))


def reached() -> set[type[models.Model]]:
    """Every model that is part of a driver's record, by the relations alone."""
    found: set[type[models.Model]] = set()

    def follow(model: type[models.Model]) -> None:
        for other, _field in pointing_to(model):
            if other not in found:
                found.add(other)
                follow(other)

    follow(Device)
    follow(Pack)
    return found


def test_no_model_is_forgotten() -> None:
    """Each table of the house is part of a driver's record, or stands above with the reason why it is not."""
    named = {str(model._meta.model_name) for model in reached()} | {"device"}  # noqa: SLF001 - Django's public name
    there = {str(model._meta.model_name) for model in apps.get_app_config("fleet").get_models()}  # noqa: SLF001 - as above
    assert there - named - set(BESIDE) == set(), "say in BESIDE why it is no part of a driver's record"
    assert set(BESIDE) & (named - {"pack"}) == set(), "these are part of the record, and need no reason"


def counted(device: Device) -> Iterator[tuple[str, int]]:
    """Every table with a field that points to a driver, and how many of its rows point to this one."""
    for model in apps.get_app_config("fleet").get_models():
        for each in model._meta.concrete_fields:  # noqa: SLF001 - Django's public name
            if isinstance(each, models.ForeignKey) and each.related_model is Device:
                yield str(model._meta.model_name), model._default_manager.filter(**{each.name: device}).count()  # noqa: SLF001 - as above


def as_json(reader: Person, device: Device) -> dict[str, Any]:
    found: dict[str, Any] = json.loads(signed_in(reader).get(f"/record/{device.asset_number}.json").content)
    return found


def test_the_counts_match_the_database(driver: Device, reader: Person) -> None:
    """Of every table that points to a driver the copy holds as many rows as the database, and of what hangs on them."""
    told = as_json(reader, driver)["counts"]
    direct = dict(counted(driver))
    assert len([number for number in direct.values() if number]) >= 8
    assert {name: told.get(name, 0) for name in direct} == direct
    assert told["reading"] == Reading.objects.filter(order__device=driver).count() > 3
    assert told["tagreport"] == sum(tag.reports.count() for tag in driver.tags.all()) > 0
    assert told["pack"] == 1
    assert told["trailentry"] == TrailEntry.objects.filter(device_ref=driver.pk).count() > 5


def test_a_contract_that_lists_it_is_part_without_the_others(reader: Person) -> None:
    """Of a contract by name the copy holds the terms and this driver, no other driver; of another, nothing."""
    device, other = a_device(), a_device()
    listing = a_contract("By name", devices=[device, other])
    a_contract("Elsewhere", devices=[other])
    told = as_json(reader, device)
    assert [row["name"] for row in told["parts"]["contract"]] == ["By name"]
    assert [row["id"] for row in told["parts"]["contract"][0]["devices"]] == [device.pk]
    assert listing.devices.count() == 2


def test_the_copy_holds_every_field_as_it_is_on_record(driver: Device, reader: Person) -> None:
    """A reading's value, verdict and step come out as they went in, numbers exact, what it points to by name too."""
    told = as_json(reader, driver)
    assert (told["form"], told["driver"]["asset_number"]) == ("driver record 1", driver.asset_number)
    held = {row["id"]: row for row in told["parts"]["reading"]}
    for reading in Reading.objects.filter(order__device=driver).select_related("step"):
        assert held[reading.pk]["step"] == {"id": reading.step_id, "is": str(reading.step)}
        assert held[reading.pk]["verdict"] == reading.verdict
        assert held[reading.pk]["value"] == (None if reading.value is None else f"{reading.value:f}")
    assert set(held[reading.pk]) == {field.name for field in Reading._meta.concrete_fields}  # noqa: SLF001 - Django's name


def test_the_bundle_holds_each_file_with_its_digest(driver: Device, reader: Person) -> None:
    """Photos as they were sent and weighed logs as text, under names of ours; the digest in the JSON is the file's."""
    answer = signed_in(reader).get(f"/record/{driver.asset_number}.zip")
    bundle = zipfile.ZipFile(io.BytesIO(b"".join(answer.streaming_content)))
    listed = {file["path"]: file for file in json.loads(bundle.read("record.json"))["files"]}
    assert set(bundle.namelist()) == {"record.json", *listed}
    assert {path.rsplit(".", 1)[1] for path in listed} == {"jpg", "csv"}
    for path, file in listed.items():
        assert sha256(bundle.read(path)).hexdigest() == file["sha256"]
    assert ReadingFile.objects.get().sha256 in {file["sha256"] for file in listed.values()}


def test_people_read_the_same(driver: Device, reader: Person) -> None:
    """The page to print names every part with its count, the order, a reading in words, the file and the trail."""
    shown = page(reader, f"/record/{driver.asset_number}/")
    for part in whole(driver).parts:
        if part.model is not TrailEntry:
            assert f"{part.words[:1].upper()}{part.words[1:]} <span" in shown
            assert f"({len(part.rows)})</span>" in shown
    order = Order.objects.get(device=driver)
    for said in (order.number, str(order.readings.first().step), ReadingFile.objects.get().sha256, "Raised tag"):
        assert said in shown, said


def test_the_record_of_one_driver_holds_nothing_of_another(driver: Device, reader: Person) -> None:
    """A second driver with work of its own is not in the copy of the first."""
    other = a_loan(a_pool_driver(asset_number="LOAN-77"), to=driver.home).device
    assert "LOAN-77" not in json.dumps(as_json(reader, driver))
    assert as_json(reader, other)["counts"]["loan"] == 1


def test_a_new_driver_has_a_record_too(reader: Person) -> None:
    """Nothing was done with it yet: the copy says who it is and how it came."""
    told = as_json(reader, a_device())
    assert told["counts"]["trailentry"] >= 1
    assert told["files"] == []
