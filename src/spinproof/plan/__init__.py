"""Burn-in plans: ordered runs inside an envelope, and the claim they will support."""
