"""One module for each step from a version of the tables to the next."""
