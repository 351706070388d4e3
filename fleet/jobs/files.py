"""Messages passed through files on one machine, where a message is seen whole or not at all.

kombu's own transport (5.7) opens a message's file and writes it a moment later: a worker that takes it in between reads
an empty message and ends. Here a message gets its name when it is written.
"""

import json
import time
import uuid
from pathlib import Path
from tempfile import NamedTemporaryFile
from typing import Any

from kombu import transport
from kombu.transport import filesystem, virtual

ALIAS = "filesystem"


class Channel(filesystem.Channel):
    """A channel for direct queues. Each process keeps its table of queues, so no second file can be half-written."""

    supports_fanout = False

    def get_table(self, exchange: str) -> Any:
        """Give the queues of an exchange, as this process declared them."""
        return virtual.Channel.get_table(self, exchange)

    # celery-types calls the message otherwise in each class above.
    def _put(self, queue: str, payload: dict[str, Any], **_options: Any) -> None:  # type: ignore[override]
        folder = Path(self.data_folder_out)
        with NamedTemporaryFile("w", dir=folder, prefix=".unfinished-", delete=False) as file:
            json.dump(payload, file)
        # The order of names is the order of taking; the part after the first dot is the queue.
        Path(file.name).replace(folder / f"{time.monotonic_ns() // 1_000_000:015}_{uuid.uuid4()}.{queue}.msg")


class Transport(filesystem.Transport):
    """kombu's files with the channel above."""

    Channel = Channel


def register() -> None:
    """Let addresses that begin with `filesystem:` mean this transport."""
    transport.TRANSPORT_ALIASES[ALIAS] = f"{__name__}:Transport"
