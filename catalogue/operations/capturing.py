"""Capture notes: how a piece's current master was scanned. The service does the whole of it."""

from catalogue.ledger.capture import note_capture

__all__ = ["note_capture"]
