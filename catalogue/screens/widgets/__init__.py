"""Tables, bars and other parts that pages and dialogs share."""
