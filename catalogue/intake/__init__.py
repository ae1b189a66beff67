"""Importing new scans from a stick, card or folder into a store; tidying stores; freeing doubles."""
