"""The whole archive beside its reference: files, statements, the ledger, and what keeps them.

To add rules for another part, write a class of rules upon the last one with its own part of the reference and its own
``@invariant``, and make it the base of :class:`ArchiveMachine`.
"""

from sequences import SequenceRules


class ArchiveMachine(SequenceRules):
    """All rules there are."""
