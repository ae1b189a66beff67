"""Actions shared by several pages: correcting, refiling, opening and copying files."""
