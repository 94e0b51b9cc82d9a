"""Durable bytes: atomic writing, hashing, canonical JSON and locks; knows no noun but paths."""
