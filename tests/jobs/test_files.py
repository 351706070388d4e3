"""Messages through files: whole or not at all."""

import threading
from pathlib import Path

import pytest
from kombu import Connection, Queue

from fleet.jobs import files

MESSAGES = 400
QUEUE = Queue("errands", routing_key="errands")


def connection(folder: Path) -> Connection:
    """Open a connection of its own, as each process has."""
    files.register()
    options = {"data_folder_in": str(folder), "data_folder_out": str(folder)}
    return Connection("filesystem://localhost/", transport_options=options)


def test_a_message_is_never_read_before_it_is_written(tmp_path: Path) -> None:
    """A reader that asks without pause, while another writes, gets each message whole and once."""
    told: list[int] = []
    failed: list[Exception] = []

    def write() -> None:
        with connection(tmp_path) as line, line.SimpleQueue(QUEUE) as queue:
            for number in range(MESSAGES):
                queue.put({"number": number})

    def read() -> None:
        with connection(tmp_path) as line, line.SimpleQueue(QUEUE) as queue:
            while len(told) < MESSAGES:
                try:
                    message = queue.get(block=False)
                except queue.Empty:
                    continue
                except ValueError as error:
                    failed.append(error)
                    return
                told.append(message.payload["number"])
                message.ack()

    both = [threading.Thread(target=job) for job in (read, write)]
    for thread in both:
        thread.start()
    for thread in both:
        thread.join(timeout=60)
    assert not failed
    assert sorted(told) == list(range(MESSAGES))


def test_what_a_writer_left_unfinished_is_no_message(tmp_path: Path) -> None:
    """A file cut off before it had its name is left alone."""
    (tmp_path / ".unfinished-abc").write_text("{")
    with connection(tmp_path) as line, line.SimpleQueue(QUEUE) as queue:
        assert queue.qsize() == 0
        with pytest.raises(queue.Empty):
            queue.get(block=False)
