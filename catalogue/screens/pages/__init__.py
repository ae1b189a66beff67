"""The pages of the program."""
