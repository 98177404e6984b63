"""The command line: thin shells over the floors below, which are imported when a verb runs."""
