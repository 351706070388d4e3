"""Documents to try things on."""

from typing import Any

from fleet.documents.actions import NewDocument, add_document
from fleet.documents.models import Document
from fleet.web.uploads import Upload
from tests.builders import BY, a_type

PDF = Upload("../manual 4.pdf", b"%PDF-1.7 a few pages")


def a_document(title: str = "Service manual TW-10", *, replaces: Document | None = None, **facts: Any) -> Document:
    """A maker's manual with its file; about the usual type where nothing else is named."""
    about = {} if facts or replaces else {"device_type": a_type()}
    facts = {"kind": "manual", "edition": "Rev. 4", "language": "English", **about, **facts}
    return add_document(NewDocument(facts={"title": title, **facts}, file=PDF, replaces=replaces), by=BY)
