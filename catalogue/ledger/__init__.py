"""Orders, editions, repeats: what was promised, printed, and may still be printed."""
