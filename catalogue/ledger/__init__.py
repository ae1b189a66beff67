"""Orders, editions, repeats: what the shop promised, printed, and may still print."""
