"""One file to one Reading: structure, tags, digests, preview, hashes. Knows no database and no screen."""
