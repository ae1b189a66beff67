"""Crawling the stores, reading what is new or changed, recording what was read."""
