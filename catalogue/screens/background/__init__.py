"""What goes on beside the screen: threads, long work, the queue of writes, what others change."""
