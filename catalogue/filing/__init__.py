"""Artist, piece and role of files, guessed from name, folders, neighbours and tags. Knows no database."""
