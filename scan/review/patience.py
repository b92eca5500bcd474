"""How long the other side of a connection may take, and what the guard may say to the one it answers on."""

from __future__ import annotations

import logging
from dataclasses import dataclass
from typing import Any


@dataclass(frozen=True, slots=True)
class Patience:
    """Seconds that the other side may take.

    Attributes
    ----------
    head : from the first byte of a request, or from the connection, to the end of its headers
    body : between two pieces of a body
    upload : for a whole body: 64 MB over a slow wireless network take some minutes
    answer : until a piece of an answer is taken
    idle : between two requests
    """

    head: float = 10.0
    body: float = 20.0
    upload: float = 600.0
    answer: float = 60.0
    idle: float = 30.0


class Lines:
    """What the guard tells of the connections it answers on; a server that counts them knows better."""

    def __init__(self, patience: Patience | None = None) -> None:
        self.patience = patience or Patience()

    def begins(self, client: Any) -> None:
        """Say that the headers of a request are complete."""

    def is_known(self, client: Any, known: bool) -> None:
        """Say whether who sent the last request has come in."""

    def abort(self, client: Any) -> None:
        """Close a connection at once."""

    def tell(self, says: str) -> None:
        """Write a line to the log."""
        logging.getLogger("uvicorn.error").warning("%s", says)
