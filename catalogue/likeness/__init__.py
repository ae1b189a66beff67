"""Which scans show the same artwork, how sure that is, and the evidence a person can check."""
