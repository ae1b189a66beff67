"""Pages to print, e-mail or hand over: job sheets, certificate lists, an artist's holdings, tables."""
