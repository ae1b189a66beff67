"""Files and folders as the system knows them: which is which, open handles on them, and writing whole or not at all."""
