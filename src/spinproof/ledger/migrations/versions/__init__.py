"""Migrations of the ledger's tables, in order; each is frozen once it was released."""
