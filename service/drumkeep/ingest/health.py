"""What ingest says about itself."""

from dataclasses import dataclass
from datetime import datetime


@dataclass(frozen=True, slots=True)
class IngestHealth:
    """State of ingest at one moment.

    Attributes
    ----------
    connected
        The broker accepted us and our subscriptions; says nothing about the last minute.
    network_alive, writer_alive
        The two threads run. A client whose network thread died still calls itself connected.
    last_message_at, last_commit_at
        None before the first.
    waiting
        Messages received and not yet stored.
    last_trouble
        The last thing that went wrong with broker or database, as a sentence; None when both work.
    """

    connected: bool
    network_alive: bool
    writer_alive: bool
    last_message_at: datetime | None
    last_commit_at: datetime | None
    waiting: int
    last_trouble: str | None

    @property
    def well(self) -> bool:
        """Whether readings that arrive now are stored."""
        return self.connected and self.network_alive and self.writer_alive and not self.last_trouble
