"""Migrations of the ledger's tables, in order; each is frozen once it was released.

Altering a column makes SQLite rebuild the table, and a rebuilt table has lost its triggers: a
migration that does so makes them again.
"""
