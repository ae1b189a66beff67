"""Work off the UI thread: threads, long jobs, the queue of writes, changes made by others."""
