"""Work off the screen's thread: threads, long jobs, the queue of writes, changes made by others."""
