"""Fixity: rolling audits, copies, repair, backups, bags, and the page that says how safe the archive is."""
