"""Pictures in a terminal: drawn in cells, or sharp where the terminal can."""
