"""The diagnosis: from readings to the odds of every fault, pair and slip."""
