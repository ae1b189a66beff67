"""Which scans show the same artwork, how certain that is, and evidence a person can check."""
