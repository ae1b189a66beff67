"""What a person can do, each once and whole, without a user interface; the command line and the screens call these."""
