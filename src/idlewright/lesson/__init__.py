"""Practice for a learner: a car with a hidden fault, worked line by line, then marked."""
