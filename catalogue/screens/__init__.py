"""The screens: browse, piece, search, orders, stores and the rest. No SQL, no reading of masters."""
