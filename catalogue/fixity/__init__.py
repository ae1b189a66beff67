"""Fixity: rolling audits, copies, repair, backups, bags, and the preservation levels."""
