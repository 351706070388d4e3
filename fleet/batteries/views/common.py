"""What the room's pages share."""

from django.urls import reverse

REFUSED = 422
FIRST = (
    "A pack that is hot, swollen or leaking is taken out at once; don't charge it, test it or open it.",
    "The charge indicator is no test: it has shown full on packs that could not carry.",
)
PROMISE = (
    "A forecast is no test and clears no driver for use. The maker's instructions and local policy decide when a pack "
    "is replaced."
)


def above() -> list[tuple[str, str]]:
    """The pages above this room's own."""
    return [("Batteries", reverse("batteries:will_not_last"))]
