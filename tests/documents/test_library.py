"""The library of documents: kept safely, replaced and never lost, shown where it is needed and to whom."""

import pytest
from django.core.files.uploadedfile import SimpleUploadedFile

from fleet.audit.models import TrailEntry
from fleet.bench.models import Procedure
from fleet.core.errors import BadValueError, ConflictError, NotAllowedError
from fleet.documents.actions import NewDocument, add_document, edit_document, withdraw_document
from fleet.documents.models import Document
from fleet.people.models import Person
from fleet.people.queries import actor_for
from fleet.web.uploads import Upload
from tests.bench.builders import received
from tests.builders import BY, a_device, a_maker, a_site, a_type, a_ward
from tests.documents.builders import PDF, a_document
from tests.pages import page, signed_in, status
from tests.schedules.builders import a_plan
from tests.stores.builders import a_calibration, an_instrument

pytestmark = pytest.mark.django_db

LIST = "/documents/"


def test_a_file_is_kept_by_its_content_and_given_out_under_our_own_name(technician: Person) -> None:
    """What the sender called it is words on a page; the download has our name, and the bytes are those that came."""
    row = a_document()
    answer = signed_in(technician).get(f"{LIST}{row.pk}/file/")
    assert answer.content == PDF.content
    assert answer["Content-Type"] == "application/pdf"
    assert answer["Content-Disposition"] == f'attachment; filename="document-{row.pk}.pdf"'
    assert "manual 4.pdf" in page(technician, f"{LIST}{row.pk}/")


def test_a_file_that_is_no_photo_and_no_pdf_is_refused_beside_its_field(technician: Person) -> None:
    """Whatever its name says; nothing is written then, and the words typed stay."""
    sent = {
        "title": "Service manual",
        "kind": "manual",
        "device_type": a_type().pk,
        "file": SimpleUploadedFile("manual.pdf", b"MZ a program", content_type="application/pdf"),
    }
    answer = signed_in(technician).post(f"{LIST}new/", sent)
    assert answer.status_code == 422
    assert "neither a photo" in answer.content.decode()
    assert "Service manual" in answer.content.decode()
    assert not Document.objects.exists()


@pytest.mark.parametrize(
    ("facts", "file", "field"),
    [
        ({"title": "M", "kind": "manual"}, PDF, "device_type"),
        ({"title": "M", "kind": "manual", "party": True}, None, "file"),
        ({"title": "M", "kind": "manual", "party": True, "address": "https://maker.example/m"}, PDF, "address"),
        ({"title": "M", "kind": "manual", "party": True, "address": "javascript:alert(1)"}, None, "address"),
        ({"title": "", "kind": "manual", "party": True}, PDF, "title"),
    ],
)
def test_a_document_is_about_something_and_stands_somewhere(
    facts: dict[str, object], file: Upload | None, field: str
) -> None:
    """Each refusal names the field: nothing it is about, no place, two places, an address that is none, no title."""
    given = {**facts, "party": a_maker()} if facts.get("party") else facts
    with pytest.raises(BadValueError) as refused:
        add_document(NewDocument(facts=given, file=file), by=BY)
    assert refused.value.field == field
    assert not Document.objects.exists()


def test_a_later_edition_stands_in_place_of_the_earlier_which_is_kept_and_marked(technician: Person) -> None:
    """It is about the same; the list shows the one in force; the earlier stays and says what replaced it."""
    earlier = a_document(edition="Rev. 3", device_type=a_type())
    sent = {"title": earlier.title, "kind": "manual", "edition": "Rev. 4", "address": "https://maker.example/rev4"}
    signed_in(technician).post(f"{LIST}{earlier.pk}/later/", sent)
    later = Document.objects.get(replaces=earlier)
    assert later.device_type == a_type()
    assert "Rev. 3" not in page(technician, LIST)
    assert "Replaced by a later edition" in page(technician, f"{LIST}?show=all")
    assert f"{LIST}{later.pk}/" in page(technician, f"{LIST}{earlier.pk}/")
    assert "Rev. 3" in page(technician, f"{LIST}{later.pk}/")
    with pytest.raises(ConflictError, match=r"replaced by .*Rev\. 4 already"):
        a_document(replaces=earlier)


def test_what_was_added_by_mistake_is_withdrawn_with_a_reason_and_the_edition_before_holds_again(
    technician: Person,
) -> None:
    """Nothing is deleted: the row, its file and the reason stay; the trail tells who."""
    earlier = a_document(edition="Rev. 3", device_type=a_type())
    later = a_document(replaces=earlier)
    answer = signed_in(technician).post(f"{LIST}{later.pk}/withdraw/", {"why": ""})
    assert answer.status_code == 422
    signed_in(technician).post(f"{LIST}{later.pk}/withdraw/", {"why": "Of another model"})
    assert "Rev. 3" in page(technician, LIST)
    assert "Of another model" in page(technician, f"{LIST}{later.pk}/")
    assert TrailEntry.objects.filter(verb="withdrew document", subject_id=later.pk, why="Of another model").exists()
    with pytest.raises(ConflictError, match="withdrawn"):
        edit_document(later, {"title": "Another"}, by=BY)
    with pytest.raises(ConflictError, match="withdrawn already"):
        withdraw_document(later, why="again", by=BY)


def test_what_is_said_of_it_is_put_right_and_two_who_do_so_do_not_overwrite_each_other(technician: Person) -> None:
    """The second is told, sees what stands, and may save then."""
    row = a_document()
    form = signed_in(technician).get(f"{LIST}{row.pk}/edit/").context["form"]
    edit_document(row, {"edition": "Rev. 5"}, by=BY)
    sent = {"title": "Manual", "kind": "manual", "device_type": row.device_type_id, "opened": form["opened"].value()}
    answer = signed_in(technician).post(f"{LIST}{row.pk}/edit/", sent)
    assert answer.status_code == 422
    assert "Rev. 5" in answer.content.decode()
    signed_in(technician).post(
        f"{LIST}{row.pk}/edit/", {**sent, "opened": answer.context["form"]["opened"].value(), "edition": "Rev. 6"}
    )
    row.refresh_from_db()
    assert (row.title, row.edition) == ("Manual", "Rev. 6")


def test_it_is_shown_on_the_page_of_whatever_it_is_about(technician: Person) -> None:
    """Type, driver, order, procedure, instrument and company each show what is kept about them."""
    device, instrument = a_device(), an_instrument()
    order = received(device, technician, kind="corrective")
    procedure = Procedure.objects.first()
    assert procedure is not None
    titles = {
        "type": a_document("About the type"),
        "device": a_document("About the driver", device=device),
        "procedure": a_document("About the steps", procedure=order.procedure_version.procedure),  # type: ignore[union-attr] # received with one
        "instrument": a_document("About the balance", instrument=instrument),
        "company": a_document("About the maker", party=a_maker()),
        "plan": a_document("Evidence", plan=a_plan()),
    }
    about = {
        "type": titles["type"].device_type_id,
        "device": device.pk,
        "procedure": titles["procedure"].procedure_id,
        "instrument": instrument.pk,
        "company": titles["company"].party_id,
        "plan": titles["plan"].plan_id,
    }
    for what, pk in about.items():
        assert titles[what].title in page(technician, f"{LIST}beside/{what}/{pk}/"), what
    beside_order = page(technician, f"{LIST}beside/order/{order.number}/")
    for what in ("type", "device", "procedure"):
        assert titles[what].title in beside_order
    assert f"beside/order/{order.number}/" in page(technician, f"/bench/orders/{order.number}/")
    of_the_driver = page(technician, f"/devices/{device}/")
    assert "About the driver" in of_the_driver
    assert "About the type" in of_the_driver


def test_the_list_is_narrowed_by_words_kind_type_and_company(technician: Person) -> None:
    """Every word counts, wherever it stands: title, edition, or the name of what it is about."""
    a_document("Service manual", device_type=a_type("TW-10"))
    a_document("Declaration", device_type=a_type("TW-20"), kind="certificate")
    a_document("Price list", party=a_maker())
    assert "Declaration" not in page(technician, f"{LIST}?q=manual+tw-10")
    assert "Service manual" in page(technician, f"{LIST}?q=manual+tw-10")
    assert "Service manual" not in page(technician, f"{LIST}?kind=certificate")
    assert "Declaration" not in page(technician, f"{LIST}?type={a_type('TW-10').pk}")
    assert "Service manual" not in page(technician, f"{LIST}?company={a_maker().pk}")
    assert "No document fits this." in page(technician, f"{LIST}?q=nowhere")


def test_the_search_of_every_page_finds_it(technician: Person, ward_nurse: Person) -> None:
    """By its title, for those who open the library."""
    a_document("Service manual TW-10")
    assert "Service manual TW-10" in page(technician, "/search/?q=service+manual")
    assert "Service manual TW-10" not in page(ward_nurse, "/search/?q=service+manual")


def test_calibration_certificates_are_listed_from_where_they_are_kept(technician: Person, storekeeper: Person) -> None:
    """They stand once, with their instrument; who may not open instruments is not shown them."""
    a_calibration(an_instrument(calibrated=False), certificate="C-7711")
    assert "C-7711" in page(technician, f"{LIST}?kind=certificate")
    assert "C-7711" in page(technician, f"{LIST}?q=c-7711")
    assert "C-7711" not in page(technician, f"{LIST}?kind=manual")
    assert "C-7711" not in page(storekeeper, LIST)


def test_a_document_about_a_driver_elsewhere_does_not_exist(technician: Person, outsider: Person) -> None:
    """Neither in the list, nor at its address, nor can one be added about it; shared ones are seen by all."""
    far = a_device(a_ward("Ward 9", a_site("Corran Vale")))
    row, shared = a_document("Photo of a crack", kind="photo", device=far), a_document("Shared manual")
    assert "Photo of a crack" not in page(technician, f"{LIST}?show=all")
    assert status(technician, f"{LIST}{row.pk}/") == status(technician, f"{LIST}{row.pk}/file/") == 404
    assert "Photo of a crack" in page(outsider, LIST)
    assert status(outsider, f"{LIST}{shared.pk}/") == 200
    sent = {"title": "M", "kind": "photo", "device": str(far), "address": "https://maker.example/"}
    assert "No driver of your places" in signed_in(technician).post(f"{LIST}new/", sent).content.decode()


def test_a_storekeeper_reads_and_does_not_write(storekeeper: Person, ward_nurse: Person) -> None:
    """Adding and withdrawing needs bench work; a ward has no library."""
    row = a_document()
    assert status(storekeeper, f"{LIST}{row.pk}/") == 200
    assert status(storekeeper, f"{LIST}new/") == status(storekeeper, f"{LIST}{row.pk}/edit/") == 403
    assert status(ward_nurse, LIST) == 403
    with pytest.raises(NotAllowedError):
        withdraw_document(row, why="mistake", by=actor_for(storekeeper))


def test_another_page_leads_to_a_form_that_knows_what_it_is_about(technician: Person) -> None:
    """A driver's number, a type's name."""
    device = a_device()
    assert f'value="{device}"' in page(technician, f"{LIST}new/?device={device}")
    chosen = f'<option value="{device.device_type_id}" selected>'
    assert chosen in page(technician, f"{LIST}new/?device_type={device.device_type_id}")
    assert status(technician, f"{LIST}beside/nothing/1/") == 404
