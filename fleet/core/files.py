"""Attached files: what a file is, told by its content and never by its name or what the browser says.

OWASP ASVS 5.0.0, 5.2.1 (size), 5.2.2 (type by content), 5.3.1 (not run as a program), 5.3.2 (no path from a name).
"""

from typing import Final

from fleet.core.errors import BadValueError

#: A photo of a telephone has 3 to 8 MB.
LARGEST: Final = 12_000_000
_MEGABYTE: Final = 1_000_000
JPEG: Final = "image/jpeg"
PNG: Final = "image/png"
PDF: Final = "application/pdf"
#: How a file of each kind begins: JPEG by ISO/IEC 10918-1, PNG by ISO/IEC 15948, PDF by ISO 32000-1 (from memory).
_BEGINNINGS: Final = {JPEG: b"\xff\xd8\xff", PNG: b"\x89PNG\r\n\x1a\n", PDF: b"%PDF-"}
ENDINGS: Final = {JPEG: "jpg", PNG: "png", PDF: "pdf"}


def kind_of_file(content: bytes) -> str:
    """The media type of a file that may be attached.

    Raises BadValueError (field "file") for one that is empty, too large, or neither photo nor PDF.
    """
    if not content:
        raise BadValueError("The file is empty. Take the photo again, or choose another file.", field="file")
    refuse_large(len(content))
    found = next((kind for kind, begins in _BEGINNINGS.items() if content.startswith(begins)), "")
    if not found:
        raise BadValueError("This is neither a photo (JPEG or PNG) nor a PDF, whatever its name says.", field="file")
    return found


def refuse_large(size: int) -> None:
    """Refuse a file of too many bytes before it is read."""
    if size > LARGEST:
        message = (
            f"The file has {size / _MEGABYTE:.1f} MB; {LARGEST // _MEGABYTE} MB is the most. Send a smaller photo."
        )
        raise BadValueError(message, field="file")


def shown_name(name: str) -> str:
    """What the sender called a file, as words for a page: no folder, nothing unprintable, not too long."""
    last = name.replace("\\", "/").rsplit("/", 1)[-1]
    return "".join(letter for letter in last if letter.isprintable())[:120].strip()
