"""What is printed, e-mailed or handed on: job sheets, certificate lists, an artist's holdings, tables."""
