"""Nouns of the trade as frozen values, the error tree, and the register map of a test stand."""
