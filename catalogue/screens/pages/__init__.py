"""The pages, one for each place of the program."""
