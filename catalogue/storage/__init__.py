"""Files and folders at the system level: identity, open handles, and atomic writes."""
