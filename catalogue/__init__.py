"""The archive catalogue of a fine-art print shop."""

__version__ = "0.1.0"
