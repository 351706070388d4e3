"""The morning's mails over a mail server that refuses one, and over one that goes away."""

import socketserver
import threading
from collections.abc import Iterator
from datetime import UTC, datetime

import pytest

from fleet.jobs.handlers import Run
from fleet.people.models import Person
from fleet.people.roles import Role
from fleet.reports.models import DigestSent
from fleet.reports.tasks import morning_digest
from fleet.web import clock
from tests.builders import a_device, a_person, a_ward
from tests.tags.builders import an_open_tag

pytestmark = pytest.mark.django_db
NOW = datetime(2026, 11, 25, 9, tzinfo=UTC)


class Post(socketserver.TCPServer):
    """A mail server that takes every mail but for two addresses: one it refuses, at the other it hangs up."""

    refused = hangs_up = b"nobody"

    def __init__(self) -> None:
        super().__init__(("127.0.0.1", 0), Counter)
        self.taken: list[bytes] = []


class Counter(socketserver.StreamRequestHandler):
    """One conversation in the few words of SMTP that are needed (RFC 5321, section 4)."""

    server: Post

    def handle(self) -> None:
        self.wfile.write(b"220 post\r\n")
        for line in self.rfile:
            if self.server.hangs_up in line:
                return
            self.wfile.write(self.answer(line))

    def answer(self, line: bytes) -> bytes:
        verb = line[:4].upper()
        if verb == b"RCPT" and self.server.refused in line:
            return b"550 no such person\r\n"
        if verb == b"RCPT":
            self.server.taken.append(line)
        if verb == b"DATA":
            self.wfile.write(b"354 go on\r\n")
            while self.rfile.readline() != b".\r\n":
                pass
        return b"221 bye\r\n" if verb == b"QUIT" else b"250 fine\r\n"


@pytest.fixture
def post(settings: object) -> Iterator[Post]:
    """Run the mail server, and let the product use it."""
    with Post() as server:
        threading.Thread(target=server.serve_forever, daemon=True).start()
        settings.EMAIL_BACKEND = "django.core.mail.backends.smtp.EmailBackend"
        settings.EMAIL_HOST, settings.EMAIL_PORT = server.server_address
        yield server
        server.shutdown()


@pytest.fixture
def nurses() -> list[Person]:
    """Three nurses of Ward 4, one of whose drivers is tagged."""
    with clock.at(NOW):
        an_open_tag(a_device())
    return [a_person(Role.WARD, places=(a_ward(),)) for _ in range(3)]


def run() -> dict[str, int]:
    """The morning's job."""
    with clock.at(NOW):
        return morning_digest(Run(1, "morning_digest", {}, NOW.date(), 1, lambda *_: None))


def test_a_refused_address_stops_no_other_mail(post: Post, nurses: list[Person]) -> None:
    """The second nurse's address is refused: the others get theirs, and a second run sends nothing more."""
    post.refused = nurses[1].email.encode()
    assert run() == {"people": 3, "sent": 2}
    assert run() == {"people": 3, "sent": 0}
    assert len(post.taken) == 2


def test_a_lost_server_keeps_the_mails_that_are_left(post: Post, nurses: list[Person]) -> None:
    """The server hangs up at the second: the job fails, and run again it sends the third; nobody gets two."""
    post.hangs_up = nurses[1].email.encode()
    with pytest.raises(OSError, match="closed"):
        run()
    assert DigestSent.objects.count() == 2
    post.hangs_up = b"nobody"
    assert run() == {"people": 3, "sent": 1}
    assert [nurses[0].email.encode() in post.taken[0], nurses[2].email.encode() in post.taken[1]] == [True, True]
