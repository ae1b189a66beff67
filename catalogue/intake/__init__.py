"""Bringing new scans from a key, card or folder into a store; tidying stores; freeing doubles."""
