"""Files that people attach: read within bounds, kept in the database, given out under a name of our own."""

import hashlib
from dataclasses import dataclass
from typing import Any

from django import forms
from django.db import models
from django.http import HttpResponse

from fleet.core.errors import BadValueError
from fleet.core.files import ENDINGS, kind_of_file, refuse_large, shown_name


@dataclass(frozen=True, slots=True)
class Upload:
    """A file as it was sent; `name` is what the sender calls it."""

    name: str
    content: bytes


class StoredFile(models.Model):
    """A file kept beside its row so that a backup of the database holds it.

    `kind` is what its content was found to be; `name` is what the sender called it, shown and never used as a path.
    """

    class Kind(models.TextChoices):
        JPEG = "image/jpeg", "Photo"
        PNG = "image/png", "Picture"
        PDF = "application/pdf", "PDF"

    kind = models.CharField(max_length=16, choices=Kind)
    name = models.CharField(max_length=120, blank=True)
    size = models.PositiveIntegerField("size, bytes")
    sha256 = models.CharField(max_length=64)
    content = models.BinaryField()

    class Meta:
        abstract = True

    def __str__(self) -> str:
        return f"{self.get_kind_display()}, {self.name}" if self.name else str(self.get_kind_display())


class UploadField(forms.FileField):
    """A photo or PDF, refused before it is read where it is too large; an `Upload`, or None where none was sent."""

    def __init__(self, **kwargs: Any) -> None:
        # An empty file is told in our words by whoever keeps it.
        super().__init__(allow_empty_file=True, **kwargs)

    def clean(self, data: Any, initial: Any = None) -> Any:
        """Read the file that was sent."""
        sent = super().clean(data, initial)
        if not sent:
            return None
        try:
            refuse_large(sent.size or 0)
        except BadValueError as error:
            raise forms.ValidationError(str(error)) from error
        return Upload(sent.name or "", sent.read())


def stored(given: Upload) -> dict[str, Any]:
    """What a `StoredFile` holds of a file. Raises BadValueError (field "file") for one that may not be kept."""
    return {
        "kind": kind_of_file(given.content),
        "name": shown_name(given.name),
        "size": len(given.content),
        "sha256": hashlib.sha256(given.content).hexdigest(),
        "content": given.content,
    }


def download(file: StoredFile, name: str) -> HttpResponse:
    """The file as a download named `name`, with the ending of what its content is."""
    answer = HttpResponse(bytes(file.content), content_type=file.kind)
    answer["Content-Disposition"] = f'attachment; filename="{name}.{ENDINGS[file.kind]}"'
    return answer
