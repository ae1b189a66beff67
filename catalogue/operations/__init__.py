"""Everything a person can do, each as one function without a user interface; commands and screens call these."""
