"""The command line: thin shells over the floors below; nothing heavy is imported before it is needed."""
