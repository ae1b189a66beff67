"""Bringing new scans from a key, card or download folder to their right place, and keeping the place in order."""
