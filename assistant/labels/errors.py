"""What may go wrong with a label, with a sentence that says what to do."""

from __future__ import annotations


class LabelError(Exception):
    """A label cannot be made as asked; its text may be shown to a person."""
