"""Papers of the demo: manuals and evidence in the library, contracts of upkeep, and how long records are kept."""

from datetime import date, timedelta
from functools import partial
from typing import Final

from fleet.audit.actors import Actor
from fleet.bench.actions import state_retention
from fleet.contracts.actions import Covers, NewContract, add_contract
from fleet.contracts.models import Contract
from fleet.core.due import add_months
from fleet.documents.actions import NewDocument, add_document
from fleet.documents.models import Document
from fleet.management.demo.diary import local
from fleet.management.demo.hospital import GENERAL
from fleet.management.demo.world import World
from fleet.registry.actions import edit_device_type
from fleet.schedules.models import Plan
from fleet.web import clock
from fleet.web.uploads import Upload

#: Days after the beginning on which papers were put in order, and before the end on which the newest came.
_FILED: Final = 45
_NEWEST: Final = 60
#: A page that says what it stands for: the demo has no real manual.
_PAGE: Final = (
    b"%PDF-1.4\n1 0 obj<</Type/Catalog/Pages 2 0 R>>endobj\n2 0 obj<</Type/Pages/Kids[3 0 R]/Count 1>>endobj\n"
    b"3 0 obj<</Type/Page/Parent 2 0 R/MediaBox[0 0 300 100]/Contents 4 0 R/Resources<</Font<</F 5 0 R>>>>>>endobj\n"
    b"4 0 obj<</Length 62>>stream\nBT /F 12 Tf 20 50 Td (Invented for a demo of Benchward.) Tj ET    "
    b"\nendstream endobj\n"
    b"5 0 obj<</Type/Font/Subtype/Type1/BaseFont/Helvetica>>endobj\ntrailer<</Root 1 0 R>>\n%%EOF\n"
)


def plan_papers(world: World) -> None:
    """Plan what was filed after the committee met, and what came lately."""
    end = clock.local_day(world.diary.end)
    world.diary.plan(local(clock.today() + timedelta(days=_FILED), 9), partial(_file, world, end))
    world.diary.plan(local(end - timedelta(days=_NEWEST), 9), partial(_latest, world, end))


def _file(world: World, end: date) -> None:
    kind, manager = world.hospital.models["TW-10"].kind, world.crew.manager
    _manual(world, "Issue 3 (invented)", "https://tarnwick.example/tw-10/service-issue-3")
    for plan in Plan.objects.filter(basis=Plan.Basis.ALTERNATIVE)[:1]:
        facts = {
            "title": "Runtime tests of four years, summed up",
            "kind": Document.Kind.EVIDENCE,
            "language": "English",
            "plan": plan,
        }
        add_document(NewDocument(facts=facts, file=Upload("tests.pdf", _PAGE)), by=manager)
    changes = {"end_of_support": add_months(end, 14)}
    edit_device_type(kind, changes, why="Told by its maker (invented)", by=manager)
    state_retention(11, "Device committee", clock.today(), "The house's policy on records (invented)", by=manager)


def _latest(world: World, end: date) -> None:
    earlier = Document.objects.get(edition__startswith="Issue 3")
    _manual(world, "Issue 4 (invented)", "https://tarnwick.example/tw-10/service-issue-4", earlier)
    models, places = world.hospital.models, world.hospital.places
    sable = Covers(device_types=[models["Sable"].kind, models["Sable N"].kind], sites=[places[GENERAL]])
    lento = Covers(device_types=[models["Lento 3"].kind])
    care = {"name": "Care of the Sable drivers", "kind": Contract.Kind.FULL, "cost_a_year": 4200}
    parts = {"name": "Parts for the Lento 3", "kind": Contract.Kind.PARTS, "cost_a_year": 900}
    parties, by = world.hospital.parties, world.crew.manager
    _contract(sable, end + timedelta(days=110), by, {**care, "party": parties["quillmere"]})
    _contract(lento, add_months(end, 20), by, {**parts, "party": parties["ossel"]})


def _manual(world: World, edition: str, address: str, replaces: Document | None = None) -> None:
    facts = {
        "title": "Service manual TW-10",
        "kind": Document.Kind.MANUAL,
        "edition": edition,
        "language": "English",
        "address": address,
        "device_type": world.hospital.models["TW-10"].kind,
    }
    add_document(NewDocument(facts=facts, replaces=replaces), by=world.crew.manager)


def _contract(covers: Covers, ends_on: date, by: Actor, facts: dict[str, object]) -> None:
    usual = {
        "terms": "Answer within two working days, a driver on loan after ten (invented).",
        "currency": "EUR",
        "begins_on": add_months(ends_on, -24) + timedelta(days=1),
        "ends_on": ends_on,
        "notice_days": 90,
    }
    add_contract(NewContract(facts={**usual, **facts}, covers=covers), by=by)
