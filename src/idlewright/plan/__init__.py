"""The plan: which step next, at what expected cost to a proven cure."""
