"""The demo archive, painted from code: an invented print shop's masters, tiles, re-scans, prints and orders."""
